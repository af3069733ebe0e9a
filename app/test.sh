#!/usr/bin/env bash
# The checks of the app in a real browser. Takes Debian's Chromium; installs it where it is missing and that is allowed.
set -euo pipefail
cd "$(dirname "$0")"
. ./browser.sh
[ -f dist/template.html ] && [ -f dist/engine.b64 ] || ./build.sh
npm run --silent check
npx playwright test "$@"
