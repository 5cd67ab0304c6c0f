#!/usr/bin/env bash
# fuzz/run.sh TARGET [SECONDS]: fuzzes one reader on the stable compiler. New inputs go to fuzz/corpus/TARGET.
set -euo pipefail
cd "$(dirname "$0")"
target=${1:?a target: notebook, compute, review, template or formula}
seconds=${2:-60}
coverage="-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4"
coverage+=" -Cllvm-args=-sanitizer-coverage-inline-8bit-counters -Cllvm-args=-sanitizer-coverage-pc-table"
coverage+=" -Cllvm-args=-sanitizer-coverage-trace-compares -Ccodegen-units=1"
RUSTFLAGS="$coverage" cargo build --quiet --release --target "$(rustc -vV | sed -n 's/host: //p')" --bin "$target"
mkdir -p "corpus/$target"
folder=${CARGO_TARGET_DIR:-target}
"$folder/$(rustc -vV | sed -n 's/host: //p')/release/$target" "corpus/$target" \
  -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 -dict=words.dict -print_final_stats=1
