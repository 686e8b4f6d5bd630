//! Times the cases of `src/cases.rs` with criterion. Words on the command line pick cases, as criterion's filter does.

use criterion::{Criterion, SamplingMode};
use evenstand_benches::cases;
use std::hint::black_box;
use std::time::Duration;

fn main() {
    let mut criterion = Criterion::default().configure_from_args().without_plots();
    let mut group = criterion.benchmark_group("core");
    group.sample_size(10).warm_up_time(Duration::from_millis(300)).measurement_time(Duration::from_secs(2));
    // Some cases take seconds a run: every sample is then as long as the others.
    group.sampling_mode(SamplingMode::Flat);
    for case in cases::all() {
        group.bench_function(case.name.as_str(), |bencher| {
            let mut work = (case.prepare)().expect("data of a case");
            let first = work().expect("an answer");
            bencher.iter(|| {
                let again = black_box(work().expect("an answer"));
                assert!(again.to_bits() == first.to_bits(), "two runs differ: {first:e} and {again:e}");
            });
        });
    }
    group.finish();
    criterion.final_summary();
}
