# Sourced: Debian's Chromium, or the one named by CHROMIUM; installs it where it is missing and that is allowed.
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
