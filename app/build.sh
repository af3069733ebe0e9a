#!/usr/bin/env bash
# Builds the app and the page: packages, engine as WebAssembly, front end. The result lies in app/dist; the tool takes it in
# when it is built afterwards. Needs Node 20 or later and what build-wasm.sh needs.
set -euo pipefail
cd "$(dirname "$0")"
if ! command -v npm >/dev/null; then
  echo "No npm: install Node 20 or later (Debian: apt-get install nodejs npm)." >&2
  exit 1
fi
if ! [ -d node_modules ] || [ package-lock.json -nt node_modules/.package-lock.json ]; then
  echo "» npm ci" >&2
  npm ci --no-audit --no-fund
fi
./build-wasm.sh
npm run --silent build
# The crate as published carries what was built, so that who installs it needs no Node.
mkdir -p ../crates/server/assets
cp dist/template.html dist/engine.b64 ../crates/server/assets/
