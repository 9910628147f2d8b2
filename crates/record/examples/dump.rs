fn main() {
    for f in std::env::args().skip(1) {
        match record::read_file(std::path::Path::new(&f), &Default::default(), |_, _| {}) {
            Ok(r) => {
                println!(
                    "{f}\n  start {:?} local {:?} rows {:?} res {:?} from {:?} about {:?}",
                    r.start, r.local_start, r.rows, r.resolution, r.current_from, r.about
                );
                for c in &r.columns {
                    println!(
                        "   {} {:?} {:?} {:?} {:?}",
                        c.number, c.heading, c.role, c.unit, c.how_sure
                    );
                }
                for n in &r.notices {
                    println!("   ! {n}");
                }
            }
            Err(e) => println!("{f}\n  ERR {:?} {e}", e.kind),
        }
    }
}
