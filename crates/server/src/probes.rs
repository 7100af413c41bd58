//! The drawing of two probe points: the schematic, cut to the stretch in which they stand.

use machine::model::Machine;
use report::schematic_marked;

/// Room around the points, px of the drawing.
const AROUND: f64 = 110.0;

/// The whole wiring.
pub(crate) fn wiring(machine: &Machine) -> String {
    report::schematic(machine)
}

/// The wiring around these points, each with a ring; the whole of it where they are drawn nowhere.
pub(crate) fn between(machine: &Machine, points: &[String]) -> String {
    let nodes: Vec<usize> = points.iter().filter_map(|p| drawn_at(machine, p)).collect();
    let drawn = schematic_marked(machine, &nodes);
    let Some(view) = view(&drawn) else { return drawn };
    let Some((before, rest)) = drawn.split_once("viewBox=\"") else { return drawn };
    let Some((_, after)) = rest.split_once("role=") else { return drawn };
    format!("{before}viewBox=\"{view}\" role={after}")
}

/// The node at which a point is drawn: a pin or tab where its wire comes on.
fn drawn_at(machine: &Machine, point: &str) -> Option<usize> {
    let joint = machine.joints.iter().find(|j| j.name == point).map(|j| j.outer);
    joint.or_else(|| machine.node(point)).or_else(|| bench::find_node(machine, point).ok())
}

/// The stretch of the drawing around all rings.
fn view(drawn: &str) -> Option<String> {
    let mut corners: Option<(f64, f64, f64, f64)> = None;
    for ring in drawn.split("<circle class=\"probe\" ").skip(1) {
        let number = |key: &str| ring.split_once(key)?.1.split('"').next()?.parse::<f64>().ok();
        let (x, y) = (number("cx=\"")?, number("cy=\"")?);
        let (l, t, r, b) = corners.unwrap_or((x, y, x, y));
        corners = Some((l.min(x), t.min(y), r.max(x), b.max(y)));
    }
    let (l, t, r, b) = corners?;
    Some(format!("{} {} {} {}", l - AROUND, t - AROUND * 0.7, r - l + 2.0 * AROUND, b - t + 1.4 * AROUND))
}

#[cfg(test)]
mod tests {
    use super::between;

    #[test]
    fn both_points_stand_in_the_cut() {
        let text = include_str!("../../../machines/aldermere-tern-81.toml");
        let machine = machine::read::read(text, None).machine.unwrap();
        let drawn = between(&machine, &["element.1".to_owned(), "element.2".to_owned()]);
        assert_eq!(drawn.matches("class=\"probe\"").count(), 2);
        let view: Vec<f64> = drawn
            .split("viewBox=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .split(' ')
            .map(|n| n.parse().unwrap())
            .collect();
        for ring in drawn.split("<circle class=\"probe\" cx=\"").skip(1) {
            let x: f64 = ring.split('"').next().unwrap().parse().unwrap();
            assert!(x > view[0] && x < view[0] + view[2]);
        }
        assert!(!between(&machine, &["nowhere".to_owned()]).contains("class=\"probe\""));
    }
}
