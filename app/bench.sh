#!/usr/bin/env bash
# Measures the published page of the demo in a real Chromium; the last line is for machines.
set -euo pipefail
cd "$(dirname "$0")"
export CHROMIUM=${CHROMIUM:-/usr/bin/chromium}
if ! [ -x "$CHROMIUM" ]; then
  if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
    echo "» apt-get install chromium" >&2
    apt-get install --yes --no-install-recommends chromium >&2
  else
    echo "No browser: install Debian's chromium, or name another with CHROMIUM=/path." >&2
    exit 1
  fi
fi
[ -f dist/template.html ] && [ -f dist/engine.b64 ] || ./build.sh
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT
(cd .. && cargo run --quiet --package overwinter -- demo "$folder/demo")
(cd .. && cargo run --quiet --package overwinter -- publish app/dist/bench.html --folder "$folder/demo")
node bench.mjs dist/bench.html
