#!/usr/bin/env bash
# fuzz/seeds.sh: puts the project's own notebooks and templates into the corpora of the targets that read them.
set -euo pipefail
cd "$(dirname "$0")"
for target in notebook compute review; do
  mkdir -p "corpus/$target"
  for notebook in ../notebooks/*.md ../notebooks/from-templates/*.md ../notebooks/field/*.md ../tests/published/*.md ../tests/notebook_cases/*.md; do
    if [ -f "$notebook" ]; then cp "$notebook" "corpus/$target/seed-$(basename "$notebook" .md)"; fi
  done
done
mkdir -p corpus/template
for template in ../report-templates/*/marking; do
  folder=$(dirname "$template")
  { cat "$folder/template.toml"; printf '\n=====\n'; cat "$folder/method.md"; printf '\n=====\n'; cat "$template/sample.md"; } \
    > "corpus/template/seed-$(basename "$folder")"
done
