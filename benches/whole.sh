#!/usr/bin/env bash
# Times the whole program on invented networks and writes benches/measured/whole.csv; `target/release/pages`
# then makes the tables and the scaling page from it.
#
#   benches/whole.sh                    # the usual sizes: about half an hour on a quiet machine, 2 GB of disk
#   benches/whole.sh 1000000x10         # sizes of your own: telemetry rows x field-seasons
#   benches/whole.sh --large            # as usual, with 10^8 rows and 10^4 field-seasons: half an hour more without R, 6 GB of disk
#
# Needs hyperfine and GNU time. Where Python has polars (PYTHON names the interpreter), the bare scan is timed too; where R has data.table and lme4,
# its script for the usual part of the job (benches/usual/whole.R); RSCRIPT=false leaves it out.
set -euo pipefail
cd "$(dirname "$0")/.."
for tool in hyperfine /usr/bin/time; do
    command -v "$tool" > /dev/null || { echo "$tool is not there: install it with the system's package manager" >&2; exit 2; }
done
python="${PYTHON:-python3}"
rscript="${RSCRIPT:-Rscript}"
cargo build --quiet --release --workspace --bins
bin="${CARGO_TARGET_DIR:-target}/release"
work="$(mktemp -d)"
trap 'rm -rf "$work"' EXIT
csv=benches/measured/whole.csv
mkdir -p benches/measured
[ -f "$csv" ] || echo "rows,fields,stage,median_s,fastest_s,slowest_s,runs,peak_mb" > "$csv"

usual="100000x10 1000000x10 1000000x100 1000000x1000 10000000x10 10000000x100 10000000x1000"
case "${1:-}" in
    --large) sizes="$usual 100000000x1000 10000000x10000" ;;
    "") sizes="$usual" ;;
    *) sizes="$*" ;;
esac

# note ROWS FIELDS STAGE RUNS COMMAND...: median, fastest and slowest wall time, and the peak memory of one run more; of one run alone, both of it.
note() {
    local rows="$1" fields="$2" stage="$3" runs="$4"
    shift 4
    if [ "$runs" -eq 1 ]; then
        local once
        once="$(/usr/bin/time -f '%e %M' "$@" 2>&1 > /dev/null | tail -n 1 || true)"
        sed -i "/^$rows,$fields,$stage,/d" "$csv"
        awk -v start="$rows,$fields,$stage" '{ printf "%s,%.3f,%.3f,%.3f,1,%d\n", start, $1, $1, $1, $2 / 1024 }' <<< "$once" >> "$csv"
        tail -n 1 "$csv"
        return
    fi
    hyperfine --ignore-failure --style none --shell none --warmup 1 --runs "$runs" --export-csv "$work/times.csv" "$*" > /dev/null 2>&1
    local peak
    peak="$(/usr/bin/time -f %M "$@" 2>&1 > /dev/null | tail -n 1 || true)"
    sed -i "/^$rows,$fields,$stage,/d" "$csv"
    # command,mean,stddev,median,user,system,min,max; the command has no comma.
    awk -F, -v rows="$rows" -v fields="$fields" -v stage="$stage" -v runs="$runs" -v peak="$peak" \
        'NR == 2 { printf "%s,%s,%s,%.3f,%.3f,%.3f,%d,%d\n", rows, fields, stage, $4, $7, $8, runs, peak / 1024 }' \
        "$work/times.csv" >> "$csv"
    tail -n 1 "$csv"
}

{
    printf '%s, %s cores, %s, %s GiB memory, %s.\n' "$(date +%F)" "$(nproc)" \
        "$(awk -F': ' '/^model name/ { print $2; exit }' /proc/cpuinfo)" "$(awk '/^MemTotal/ { printf "%.0f", $2 / 1048576 }' /proc/meminfo)" "$(uname -sm)"
    "$rscript" -e 'cat(sprintf("R %s with data.table %s and lme4 %s.\n", getRversion(), packageVersion("data.table"), packageVersion("lme4")))' 2> /dev/null || true
} > benches/measured/machine.txt
note 0 0 help 20 "$bin/evenstand" --help
for size in $sizes; do
    rows="${size%x*}" fields="${size#*x}"
    review="$work/review"
    "$bin/make_network" "$rows" "$fields" "$review" > /dev/null
    runs=5
    [ "$rows" -ge 10000000 ] && runs=3
    [ "$rows" -ge 100000000 ] || [ "$fields" -ge 1000 ] && runs=1
    note "$rows" "$fields" ingest "$runs" "$bin/evenstand" ingest --afresh --quiet "$review"
    note "$rows" "$fields" link "$runs" "$bin/evenstand" link --quiet "$review"
    note "$rows" "$fields" model "$runs" "$bin/evenstand" model --afresh --quiet "$review"
    note "$rows" "$fields" report "$runs" "$bin/evenstand" report --afresh --quiet "$review"
    note "$rows" "$fields" unchanged "$runs" "$bin/evenstand" run --quiet "$review"
    if "$python" -c "import polars" 2> /dev/null; then
        note "$rows" "$fields" scan "$runs" "$python" benches/scan.py "$review/raw/setting_log.csv"
    fi
    if "$rscript" -e 'library(data.table); library(lme4)' > /dev/null 2>&1; then
        note "$rows" "$fields" usual_plain "$runs" "$rscript" benches/usual/whole.R "$review" "$work/usual"
        note "$rows" "$fields" usual "$runs" "$rscript" benches/usual/whole.R "$review" "$work/usual" charts
    fi
    rm -rf "$review" "$work/usual"
done
