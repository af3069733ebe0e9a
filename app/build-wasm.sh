#!/usr/bin/env bash
# Builds the page's engine for wasm32-unknown-unknown and puts it, packed (pack.mjs) and in base64, into dist/engine.b64.
#
# The standard library is built with the engine from its own source: small, and with panics that stop at once. A page has
# nowhere to print a panic's message; the worker tells that the engine stopped. This makes the engine a tenth smaller.
# Three ways, the first that works here; WAY=source, ready or debian tries only that one:
#   source  rustup's compiler and the library's source (`rustup component add rust-src`)
#   ready   rustup's compiler and its ready library (`rustup target add wasm32-unknown-unknown`): the larger engine
#   debian  Debian's compiler and source: `apt-get install --no-install-recommends rustc-web rust-web-src lld-22`
set -euo pipefail
cd "$(dirname "$0")/.."
triple=wasm32-unknown-unknown
target=${CARGO_TARGET_DIR:-$PWD/target}
export CARGO_TARGET_DIR=$target/wasm

# Addresses are written as short as they are, instead of in five bytes each.
flags="-Clink-arg=--compress-relocations"

build() {
  CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUSTFLAGS="$flags" \
    cargo build --profile page --package overwinter-page-engine --target $triple "$@"
}

has_source() {
  [ -f "$("$1" --print sysroot 2>/dev/null)/lib/rustlib/src/rust/library/Cargo.lock" ]
}

# Both options are unstable, and so asked for by name: what a compiler does not have must fail here and be made the ready way.
from_source() {
  RUSTC_BOOTSTRAP=1 flags="$flags -Zunstable-options -Cpanic=immediate-abort" \
    build -Zbuild-std=std,panic_abort -Zbuild-std-features=optimize_for_size
}

way_source() {
  command -v rustc >/dev/null || return 1
  if ! has_source rustc && command -v rustup >/dev/null; then
    echo "» rustup component add rust-src" >&2
    rustup component add rust-src >&2 || true
  fi
  has_source rustc && from_source
}

way_ready() {
  command -v rustc >/dev/null || return 1
  library="$(rustc --print target-libdir --target $triple)/libstd-*.rlib"
  if ! compgen -G "$library" >/dev/null && command -v rustup >/dev/null; then
    echo "» rustup target add $triple" >&2
    rustup target add $triple >&2 || true
  fi
  compgen -G "$library" >/dev/null || return 1
  echo "» with the ready standard library: the engine is a tenth larger" >&2
  # What fails here is the engine's own source: no other compiler would help.
  build || exit 1
}

way_debian() {
  compiler=/usr/bin/rustc
  if ! has_source $compiler; then
    if [ "$(id -u)" != 0 ] || ! command -v apt-get >/dev/null; then return 1; fi
    echo "» apt-get install rustc-web rust-web-src lld-22" >&2
    apt-get install --yes --no-install-recommends rustc-web rust-web-src lld-22 >&2 || return 1
  fi
  # Its artifacts are kept apart: no compiler can use another's.
  CARGO_TARGET_DIR=$target/wasm-debian
  RUSTC=$compiler CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=${WASM_LD:-wasm-ld-22} from_source
}

for way in ${WAY:-source ready debian} none; do
  if [ $way = none ]; then
    echo "The engine could not be built for $triple. It needs 'rustup target add $triple', or on Debian" >&2
    echo "'apt-get install --no-install-recommends rustc-web rust-web-src lld-22'." >&2
    exit 1
  fi
  if "way_$way"; then break; fi
done

cd app
mkdir -p dist
node pack.mjs "$CARGO_TARGET_DIR/$triple/page/overwinter_page_engine.wasm" dist/engine.b64
