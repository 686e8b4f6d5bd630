#!/usr/bin/env bash
# Times the statistical core with criterion once the machine is quiet (it waits ten minutes at most), and prints the table of README.md.
# A word picks the cases whose names hold it: benches/compare.sh "24000 strips"
# benches/compare.sh --usual measures R on this machine first (about ten minutes) and keeps it in benches/measured/usual.csv.
set -euo pipefail
cd "$(dirname "$0")/.."
if [ "${1:-}" = --usual ]; then
    shift
    Rscript benches/usual/fits.R 10 100 1000 > benches/measured/usual.csv.new
    mv benches/measured/usual.csv.new benches/measured/usual.csv
fi
cargo build --quiet --release --workspace --bins
if [ -r /proc/loadavg ]; then
    for _ in $(seq 60); do
        awk '{ exit !($1 < 1.5) }' /proc/loadavg && break
        sleep 10
    done
fi
# With the features of the whole workspace, so that nothing is compiled a second time.
cargo bench --quiet --workspace --bench kernels -- --quiet "$@" >&2
target="${CARGO_TARGET_DIR:-target}"
exec "$target/release/compare" "$target/criterion/core"
