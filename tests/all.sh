#!/usr/bin/env bash
# Every check of the project: formatting, lints, documentation, all tests, a clean tree afterwards.
# Installs what the tests call (poppler-utils for the text of PDFs, qpdf for their structure, xmllint for XML by its
# schema, strace for system calls that fail, faketime for clocks that are set back, chromium and its driver for pages, node for the scripts of pages and their
# checkers) where it is missing.
set -euo pipefail
cd "$(dirname "$0")/.."

need() { # need PROGRAM PACKAGE: installs the Debian package of a program that is missing
  command -v "$1" >/dev/null 2>&1 && return
  local run=""
  [ "$(id -u)" = 0 ] || run=sudo
  $run apt-get update -qq
  DEBIAN_FRONTEND=noninteractive $run apt-get install -y -qq "$2" >/dev/null
}
need cc build-essential
need make build-essential
need pdftotext poppler-utils
need qpdf qpdf
need strace strace
need faketime faketime
need python3 python3
need xmllint libxml2-utils
need chromium chromium
need chromedriver chromium-driver
need node nodejs
need npm npm

# The outside checkers of pages.
[ -e tests/pages/node_modules/axe-core ] || (cd tests/pages && npm ci --silent --no-audit --no-fund >/dev/null)

before=$(git status --porcelain 2>/dev/null || true)

# The fuzz targets are built beside the rest, where the compiler leaves a core idle: in a profile of their own, so neither
# waits for the other.
built=$(mktemp)
fuzz/run.sh build >"$built" 2>&1 &
building=$!
trap 'kill "$building" 2>/dev/null || true; rm -f "$built"' EXIT

cargo fmt --check
cargo clippy --quiet --all-targets -- -D warnings
cargo clippy --quiet --manifest-path benches/Cargo.toml --no-default-features --target-dir "${CARGO_TARGET_DIR:-target}" --all-targets -- -D warnings
RUSTDOCFLAGS="-D warnings" cargo doc --quiet --no-deps
cargo test --quiet --no-fail-fast
# Every reader on inputs nobody wrote, ten seconds each.
wait "$building" || { cat "$built" >&2; exit 1; }
fuzz/run.sh smoke 10

after=$(git status --porcelain 2>/dev/null || true)
if [ "$before" != "$after" ]; then
  echo "the tests left files behind:" >&2
  diff <(echo "$before") <(echo "$after") >&2 || true
  exit 1
fi
