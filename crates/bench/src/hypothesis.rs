//! A hypothesis: which parts have which fault.

use machine::diagnostic::nearest;
use machine::model::{Machine, PartId};
use smallvec::SmallVec;

/// A set of faults, at most one a part, sorted by part. Empty is healthy.
#[derive(Clone, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Hypothesis {
    /// Hardly ever more than three: then they lie in place.
    faults: SmallVec<[(PartId, usize); 3]>,
}

/// Why a text names no fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultError {
    /// What is wrong with it.
    pub message: String,
    /// What to write instead.
    pub remedy: String,
}

impl std::fmt::Display for FaultError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.message, self.remedy)
    }
}

impl std::error::Error for FaultError {}

impl Hypothesis {
    /// Nothing is wrong.
    pub fn healthy() -> Hypothesis {
        Hypothesis::default()
    }

    /// These faults: part and index of the mode in its kind. Of two faults of one part the later counts.
    pub fn of(faults: impl IntoIterator<Item = (PartId, usize)>) -> Hypothesis {
        let mut all: SmallVec<[(PartId, usize); 3]> = SmallVec::new();
        for fault in faults {
            all.retain(|f| f.0 != fault.0);
            all.push(fault);
        }
        all.sort_unstable();
        Hypothesis { faults: all }
    }

    /// From texts such as `element=open`.
    pub fn parse<S: AsRef<str>>(machine: &Machine, texts: &[S]) -> Result<Hypothesis, FaultError> {
        let mut faults = Vec::new();
        for text in texts {
            faults.push(parse_fault(machine, text.as_ref())?);
        }
        Ok(Hypothesis::of(faults))
    }

    /// The faults.
    pub fn faults(&self) -> &[(PartId, usize)] {
        &self.faults
    }

    /// The mode of every part.
    pub fn modes(&self, machine: &Machine) -> Vec<Option<usize>> {
        let mut modes = vec![None; machine.parts.len()];
        for &(part, mode) in &self.faults {
            if let Some(slot) = modes.get_mut(part) {
                *slot = Some(mode);
            }
        }
        modes
    }

    /// "element open, cutout open", or "healthy".
    pub fn says(&self, machine: &Machine) -> String {
        if self.faults.is_empty() {
            return "healthy".to_owned();
        }
        let one = |&(p, m): &(PartId, usize)| {
            let part = &machine.parts[p];
            match &part.ends {
                Some((a, b)) => format!("wire {a} – {b} {}", part.kind.modes[m].name),
                None => format!("{} {}", part.id, part.kind.modes[m].name),
            }
        };
        self.faults.iter().map(one).collect::<Vec<_>>().join(", ")
    }
}

fn parse_fault(machine: &Machine, text: &str) -> Result<(PartId, usize), FaultError> {
    let Some((part, mode)) = text.split_once(['=', ':']).map(|(p, m)| (p.trim(), m.trim())) else {
        return Err(FaultError {
            message: format!("`{text}` is no fault"),
            remedy: "write PART=MODE, for instance element=open".to_owned(),
        });
    };
    let Some(id) = machine.part(part) else {
        let remedy = match nearest(part, machine.parts.iter().map(|p| p.id.as_str())) {
            Some(near) => format!("did you mean {near}?"),
            None => "`wattmend machine show FILE` lists the parts".to_owned(),
        };
        return Err(FaultError { message: format!("this machine has no part `{part}`"), remedy });
    };
    let kind = machine.parts[id].kind;
    match kind.modes.iter().position(|m| m.name == mode) {
        Some(index) => Ok((id, index)),
        None => Err(FaultError {
            message: format!("a {} has no fault `{mode}`", kind.name),
            remedy: format!(
                "its faults: {}",
                kind.modes.iter().map(|m| m.name).collect::<Vec<_>>().join(", ")
            ),
        }),
    }
}
