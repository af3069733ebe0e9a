#!/usr/bin/env bash
# Builds the page's engine for wasm32-unknown-unknown and puts it, packed with LZMA and in base64, into app/dist/engine.b64.
#
# With rustup's target present (`rustup target add wasm32-unknown-unknown`) this is one cargo build. Without it, Debian's
# compiler is used: `apt-get install --no-install-recommends rustc-web rust-web-src lld-22`; the standard library for the
# target is then built once from its source into target/wasm-std and kept by the compiler's version.
set -euo pipefail
cd "$(dirname "$0")/.."
triple=wasm32-unknown-unknown
package=overwinter-page-engine
target=${CARGO_TARGET_DIR:-$PWD/target}

has_standard_library() {
  compgen -G "$("$1" --print target-libdir --target $triple 2>/dev/null)/libstd-*.rlib" >/dev/null
}

if ! has_standard_library rustc && command -v rustup >/dev/null; then
  echo "» rustup target add $triple" >&2
  rustup target add $triple >&2 || true
fi

if has_standard_library rustc; then
  built=$target/wasm
  CARGO_TARGET_DIR=$built cargo build --profile page --package $package --target $triple
else
  compiler=/usr/bin/rustc
  if ! [ -x $compiler ] || ! [ -f "$($compiler --print sysroot)/lib/rustlib/src/rust/library/Cargo.lock" ]; then
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
      echo "» apt-get install rustc-web rust-web-src lld-22" >&2
      apt-get install --yes --no-install-recommends rustc-web rust-web-src lld-22 >&2
    else
      echo "No standard library for $triple: run 'rustup target add $triple', or on Debian" >&2
      echo "'apt-get install --no-install-recommends rustc-web rust-web-src lld-22'." >&2
      exit 1
    fi
  fi
  export RUSTC=$compiler CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_LINKER=${WASM_LD:-wasm-ld-22}
  version=$($compiler -V | md5sum | cut -c1-12)
  sysroot=$target/wasm-std/$version
  libraries=$sysroot/lib/rustlib/$triple/lib
  if ! [ -f "$libraries/.ok" ]; then
    echo "» building the standard library for $triple, once (about 90 s)" >&2
    work=$(mktemp -d)
    mkdir -p "$work/src"
    echo '#![no_std]' >"$work/src/lib.rs"
    printf '[package]\nname="mkstd"\nversion="0.0.0"\nedition="2021"\n[workspace]\n[profile.release]\npanic="abort"\n' >"$work/Cargo.toml"
    # The bitcode is what link-time optimisation of the engine needs.
    (cd "$work" && RUSTC_BOOTSTRAP=1 CARGO_TARGET_DIR=$work/t CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUSTFLAGS="-Cembed-bitcode=yes" \
      cargo build --release -Zbuild-std=std,panic_abort --target $triple)
    rm -rf "$sysroot"
    mkdir -p "$libraries"
    cp "$work/t/$triple/release/deps/"*.rlib "$libraries"
    rm -rf "$libraries"/libmkstd* "$work"
    touch "$libraries/.ok"
  fi
  built=$target/wasm-$version
  CARGO_TARGET_DIR=$built CARGO_TARGET_WASM32_UNKNOWN_UNKNOWN_RUSTFLAGS="--sysroot $sysroot" \
    cargo build --profile page --package $package --target $triple
fi

mkdir -p app/dist
wasm=$built/$triple/page/overwinter_page_engine.wasm
if ! command -v xz >/dev/null; then
  echo "No xz, which packs the engine: install xz-utils (Debian) or xz." >&2
  exit 1
fi
# LZMA is a quarter smaller than gzip here; src/lzma.ts unpacks it. These literal and position bits suit WebAssembly best.
xz --format=lzma --lzma1=preset=9e,lc=4,lp=0,pb=0,nice=273 --stdout "$wasm" | base64 | tr -d '\n' >app/dist/engine.b64
echo "app/dist/engine.b64: $(wc -c <"$wasm") bytes of WebAssembly, $(($(wc -c <app/dist/engine.b64) * 3 / 4)) packed"
