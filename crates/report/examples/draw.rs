//! Writes the schematic of a machine file to standard output: `cargo run -p report --example draw -- FILE`.

fn main() -> Result<(), String> {
    let path = std::env::args().nth(1).ok_or("which machine file?")?;
    let text = std::fs::read_to_string(&path).map_err(|e| format!("{path}: {e}"))?;
    let machine = machine::read::read(&text, None).machine.ok_or("the file has errors")?;
    println!("{}", report::schematic(&machine));
    Ok(())
}
