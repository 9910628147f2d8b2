use std::io::Write;
fn main() {
    let n: usize = std::env::args().nth(2).unwrap().parse().unwrap();
    let p = std::env::args().nth(1).unwrap();
    let mut f = std::io::BufWriter::new(std::fs::File::create(&p).unwrap());
    writeln!(f, "time_s,voltage_v,current_a").unwrap();
    for row in 0..n {
        let v = 13.3 - 3.0 * row as f64 / n as f64;
        let i = 4.0 + (row % 7) as f64 / 1000.0;
        writeln!(f, "{row},{v:.3},{i:.3}").unwrap();
    }
}
