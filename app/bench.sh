#!/usr/bin/env bash
# Measures the published page of the demo in a real Chromium; the last line is for machines.
set -euo pipefail
cd "$(dirname "$0")"
. ./browser.sh
[ -f dist/template.html ] && [ -f dist/engine.b64 ] || ./build.sh
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
(cd .. && cargo run --quiet --package overwinter -- demo "$folder/demo")
(cd .. && cargo run --quiet --package overwinter -- publish app/dist/bench.html --folder "$folder/demo")
node bench.mjs dist/bench.html
