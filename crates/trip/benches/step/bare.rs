//! The arithmetic of a step and nothing else: sixteen packs with their wells, their loads curves of
//! current against voltage, a source by day. No events, no failures, no weather, nothing worked out
//! on the way.

use divan::black_box;

pub(crate) const LANES: usize = 16;
type Row = [f64; LANES];

/// Three nights of twelve hours, and the days between them.
pub(crate) const STEPS: usize = 3600;
const NIGHT: usize = 720;

struct Bare {
    soc: Row,
    v1: Row,
    gap: Row,
    current: Row,
    least_v: Row,
    r0: Row,
    r1: Row,
    soc_per_a: Row,
    per_soc: Row,
    sun: Row,
    /// Of `y = 1/v`: the current is `y·(m₀ + m₁·y² + m₂·y⁴ + m₃·y⁶) + g·v + a`.
    m: [Row; 4],
    g: Row,
    a: Row,
}

impl Bare {
    fn new() -> Self {
        let lanes = |of: fn(f64) -> f64| std::array::from_fn(|lane| of(lane as f64 / 16.0));
        let soc_per_a: Row = lanes(|x| (1.0 + 0.1 * x) * 60.0 / (3600.0 * 120.0));
        Bare {
            soc: [1.0; LANES],
            v1: [0.0; LANES],
            gap: [0.0; LANES],
            current: [2.0; LANES],
            least_v: [20.0; LANES],
            r0: lanes(|x| 0.02 + 0.01 * x),
            r1: lanes(|x| 0.01 + 0.01 * x),
            per_soc: soc_per_a.map(|x| 1.0 / x),
            soc_per_a,
            sun: lanes(|x| 0.5 + 0.5 * x),
            m: [
                lanes(|x| 30.0 + 5.0 * x),
                lanes(|x| 60.0 + 5.0 * x),
                [200.0; LANES],
                [900.0; LANES],
            ],
            g: [0.05; LANES],
            a: [0.2; LANES],
        }
    }

    #[inline(always)]
    fn step<const DAY: bool>(&mut self, ocv: &[[f64; 2]; 1024], panel_w: f64) {
        const KEEP: f64 = 0.3;
        const MEAN: f64 = 0.6;
        const BOUND: f64 = 0.3;
        const GAP_KEEP: f64 = 0.98;
        const GAP_MEAN: f64 = 0.99;
        for lane in 0..LANES {
            let soc = self.soc[lane];
            let x = (soc - BOUND * GAP_MEAN * self.gap[lane]) * 1000.0;
            let cell = x as usize & 1023;
            let [start, rise] = ocv[cell];
            let slope = rise * 1000.0;
            let rest = start + rise * (x - cell as f64);
            let low = (1.0 - 5.0 * soc).max(0.0);
            let r0 = self.r0[lane] * (1.0 + 1.2 * low * low);
            let emf = rest - self.v1[lane] * MEAN;
            let ohm = r0 + self.r1[lane] * (1.0 - MEAN) + 0.5 * slope * self.soc_per_a[lane];
            let mut current = self.current[lane];
            let v = emf - ohm * current;
            let y = 1.0 / v;
            let y2 = y * y;
            let [m0, m1, m2, m3] = [0, 1, 2, 3].map(|term| self.m[term][lane]);
            let load = self.g[lane] * v + self.a[lane] + y * (m0 + y2 * (m1 + y2 * (m2 + y2 * m3)));
            let mut falls =
                self.g[lane] - y2 * (m0 + y2 * (3.0 * m1 + y2 * (5.0 * m2 + y2 * (7.0 * m3))));
            let mut drawn = load;
            if DAY {
                let free = panel_w * self.sun[lane] * y;
                let given = if free < 10.0 { free } else { 10.0 };
                drawn -= given;
                falls += if free < 10.0 { free * y } else { 0.0 };
            }
            current += (drawn - current) / (1.0 + ohm * falls);
            if DAY {
                let end_emf = rest - self.v1[lane] * KEEP;
                let end_ohm = r0 + self.r1[lane] * (1.0 - KEEP) + slope * self.soc_per_a[lane];
                let held = (end_emf - 14.4) / end_ohm;
                let full = (soc - 1.0) * self.per_soc[lane];
                let least = if held > full { held } else { full };
                let least = if least < load { least } else { load };
                current = if current > least { current } else { least };
            }
            let v = emf - ohm * current;
            self.least_v[lane] = if v < self.least_v[lane] { v } else { self.least_v[lane] };
            self.current[lane] = current;
            self.soc[lane] = soc - current * self.soc_per_a[lane];
            self.gap[lane] = GAP_KEEP * self.gap[lane] + current * self.soc_per_a[lane];
            self.v1[lane] = self.v1[lane] * KEEP + current * self.r1[lane] * (1.0 - KEEP);
        }
    }
}

#[inline(always)]
fn steps() -> (Row, Row) {
    let ocv: [[f64; 2]; 1024] = black_box(std::array::from_fn(|cell| {
        let v = |cell: usize| 11.5 + 2.0 * (cell as f64 / 1000.0).sqrt();
        [v(cell), v(cell + 1) - v(cell)]
    }));
    let mut bare = Bare::new();
    for step in 0..STEPS {
        if (step / NIGHT).is_multiple_of(2) {
            bare.step::<false>(&ocv, 0.0);
        } else {
            bare.step::<true>(&ocv, 0.1 * (step % NIGHT) as f64);
        }
    }
    (bare.soc, bare.least_v)
}

pub(crate) fn trip() -> (Row, Row) {
    steps()
}

#[cfg(target_arch = "x86_64")]
pub(crate) fn trip_avx2() -> (Row, Row) {
    #[target_feature(enable = "avx2")]
    fn compiled() -> (Row, Row) {
        steps()
    }
    #[allow(unsafe_code)] // the only way to choose an instruction set at run time
    // SAFETY: only called where the processor was found to have AVX2.
    unsafe {
        compiled()
    }
}
