//! Any bytes at all: no panic, no hang, and every row accounted for.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(record) = record::read_bytes("fuzz.csv", bytes, &record::ReadOptions::default()) {
        let aside: usize = record.rows.set_aside.values().sum();
        assert_eq!(record.rows.read, record.rows.used + aside);
        assert!(record.samples.elapsed_s.windows(2).all(|pair| pair[0] <= pair[1]));
        record::write_bdf(&record, std::io::sink()).expect("a record can be written");
    }
});
