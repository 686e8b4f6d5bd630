#!/usr/bin/env bash
# Builds the timer, waits until the machine is quiet (at most ten minutes), and prints the table of README.md.
# Words pick cases whose names hold all of them: benches/compare.sh "binomial" "2400 strips"
# benches/compare.sh --usual measures R on this machine first (about ten minutes) and keeps it in benches/measured/usual.csv.
set -euo pipefail
cd "$(dirname "$0")/.."
if [ "${1:-}" = --usual ]; then
    shift
    Rscript benches/usual/fits.R 10 100 1000 > benches/measured/usual.csv.new
    mv benches/measured/usual.csv.new benches/measured/usual.csv
fi
# With the features of the whole workspace, so that nothing is compiled a second time.
cargo build --quiet --release --workspace --bin compare
if [ -r /proc/loadavg ]; then
    for _ in $(seq 60); do
        awk '{ exit !($1 < 1.5) }' /proc/loadavg && break
        sleep 10
    done
fi
exec "${CARGO_TARGET_DIR:-target}/release/compare" "$@"
