fn main() {
    let p = std::env::args().nth(1).unwrap();
    let t = std::time::Instant::now();
    let r = record::read_file(std::path::Path::new(&p), &Default::default(), |_, _| {}).unwrap();
    let e = t.elapsed();
    let s = std::fs::read_to_string("/proc/self/status").unwrap();
    println!(
        "{} rows {:?} {}",
        r.rows.used,
        e,
        s.lines().find(|l| l.starts_with("VmHWM")).unwrap()
    );
}
