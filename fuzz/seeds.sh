#!/usr/bin/env bash
# fuzz/seeds.sh: puts the project's own notebooks into the corpora of the targets that read notebooks.
set -euo pipefail
cd "$(dirname "$0")"
for target in notebook compute; do
  mkdir -p "corpus/$target"
  for notebook in ../notebooks/*.md ../notebooks/field/*.md ../tests/published/*.md ../tests/notebook_cases/*.md; do
    if [ -f "$notebook" ]; then cp "$notebook" "corpus/$target/seed-$(basename "$notebook" .md)"; fi
  done
done
