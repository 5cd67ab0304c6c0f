#!/usr/bin/env bash
# Fuzzes the readers on the stable compiler.
#   fuzz/run.sh TARGET [SECONDS]     one of them, 60 s unless said otherwise; new inputs go to fuzz/found/TARGET
#   fuzz/run.sh smoke [SECONDS]      each of them in turn over the inputs that are kept, 10 s unless said otherwise
#   fuzz/run.sh build                builds what a smoke run runs
# FUZZ_JOBS says how many run at once in a smoke run (twice as many as there are cores).
set -euo pipefail
cd "$(dirname "$0")"
target=${1:?a target (the names in targets/), or smoke, or build}
host=$(rustc -vV | sed -n 's/host: //p')
folder=${CARGO_TARGET_DIR:-target}
coverage="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4"
coverage+=" -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table"
coverage+=" -Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1"

build() { RUSTFLAGS="$coverage" cargo build --quiet --release --target "$host" --target-dir "$folder" "$@"; }

# No names of what is reached: they take long to look up. No entropic schedule: it thinks for twenty seconds after
# 256 inputs that reach as much code as these do.
run() { # run TARGET SECONDS CORPUS...
  local target=$1 seconds=$2
  shift 2
  "$folder/$host/release/$target" "$@" -max_total_time="$seconds" -timeout=20 -rss_limit_mb=2048 \
    -dict=words.dict -artifact_prefix="${FUZZ_FOUND:-./}" -print_final_stats=1 -print_funcs=0 -entropic=0 \
    -seed="${FUZZ_SEED:-0}"
}

smoke() { # smoke TARGET: new inputs are thrown away, and only what went wrong is shown
  local log new more=""
  # Parsers differ in ever new ways: their comparison is for runs that someone looks at.
  [ "$1" != structure ] || more=-runs=1
  log=$(mktemp) new=$(mktemp -d)
  if FUZZ_FOUND="$new/" run "$1" "$seconds" "$new" "corpus/$1" $more >"$log" 2>&1; then
    echo "$1: $(sed -n 's/^stat::number_of_executed_units: *//p' "$log") inputs"
    rm -r "$log" "$new"
  else
    echo "$1 failed; what it ran on is in $new" >&2
    tail -n 40 "$log" >&2
    return 1
  fi
}

if [ "$target" = build ]; then
  build --bins
elif [ "$target" = smoke ]; then
  seconds=${2:-10}
  build --bins
  export -f smoke run
  # The same inputs in every run; a run of one target has others each time.
  export folder host seconds FUZZ_SEED=1
  sed -n 's/^name = "\(.*\)"$/\1/p' Cargo.toml | grep -v '^reweigh-fuzz$' |
    xargs -P "${FUZZ_JOBS:-$((2 * $(nproc)))}" -I{} bash -euo pipefail -c 'smoke {}'
else
  build --bin "$target"
  python3 seeds.py
  mkdir -p "found/$target" "seeds/$target"
  FUZZ_FOUND=found/ run "$target" "${2:-60}" "found/$target" "corpus/$target" "seeds/$target"
fi
