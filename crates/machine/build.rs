//! Lists the part kinds: every file in `src/kinds/` is one, and adding a file is all it takes to add a kind.

use std::fmt::Write as _;
use std::path::Path;
use std::{env, fs};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = env::var("CARGO_MANIFEST_DIR")?;
    let folder = Path::new(&root).join("src/kinds");
    let mut names = Vec::new();
    for entry in fs::read_dir(&folder)? {
        let path = entry?.path();
        if path.extension().is_some_and(|e| e == "rs")
            && let Some(stem) = path.file_stem().and_then(|s| s.to_str())
        {
            names.push(stem.to_owned());
        }
    }
    names.sort();
    let mut text = String::new();
    for name in &names {
        let file = folder.join(format!("{name}.rs"));
        writeln!(text, "#[path = {:?}]\nmod {name};", file.display().to_string())?;
    }
    writeln!(text, "static ALL: &[&PartKind] = &[")?;
    for name in &names {
        writeln!(text, "    &{name}::KIND,")?;
    }
    writeln!(text, "];")?;
    fs::write(Path::new(&env::var("OUT_DIR")?).join("kinds.rs"), text)?;
    println!("cargo::rerun-if-changed=src/kinds");
    Ok(())
}
