//! Reads a recording and says how fast: `cargo run --release -p trace --example read_speed -- FILE`.

use std::error::Error;
use std::fs::File;
use std::time::Instant;

use trace::read::{Options, Reader};

fn main() -> Result<(), Box<dyn Error>> {
    let path = std::env::args().nth(1).ok_or("name a recording")?;
    let file = File::open(&path)?;
    let megabytes = file.metadata()?.len() as f64 / 1e6;
    let start = Instant::now();
    let mut reader = Reader::new(file, &Options::default())?;
    let mut joules_at_1_hz = 0.0;
    for sample in reader.by_ref() {
        joules_at_1_hz += sample?.power_w;
    }
    let seconds = start.elapsed().as_secs_f64();
    let samples = reader.summary().samples;
    println!(
        "{samples} samples, {megabytes:.1} MB in {seconds:.3} s: {:.0} MB/s ({joules_at_1_hz:.0} J)",
        megabytes / seconds
    );
    Ok(())
}
