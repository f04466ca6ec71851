#!/bin/sh
# The test command. `sh contrib/ci.sh` is all of it; `sh contrib/ci.sh quick` is what to run before
# each commit; SOAK=1 runs the long counts. Every stage says what it does; the first failure ends it.
# Each reader of foreign bytes is tried for 20 s of a core (ten minutes with SOAK=1): about 40 of
# them, two at a time on two cores.
set -eu
cd "$(dirname "$0")/.."
export RUSTFLAGS="-D warnings" CARGO_TERM_COLOR=never
mode=${1:-all}
began=$(date +%s)

say() { printf '\n== %s (%s s) ==\n' "$1" "$(($(date +%s) - began))"; }

setup() {
    missing=""
    while read -r kind name _; do
        [ "$kind" = apt ] || continue
        dpkg -s "$name" >/dev/null 2>&1 || missing="$missing $name"
    done <contrib/packages.txt
    [ -z "$missing" ] && return 0
    echo "installing:$missing"
    apt-get -q update >/dev/null
    # shellcheck disable=SC2086
    DEBIAN_FRONTEND=noninteractive apt-get -qy install --no-install-recommends $missing >/dev/null
}

peers() {
    [ -x .venv/bin/python ] || python3 -m venv .venv
    grep '^pip ' contrib/packages.txt | while read -r _ name version; do
        echo "$name==$version"
    done >.venv/wanted.txt
    cmp -s .venv/wanted.txt .venv/have.txt && return 0
    .venv/bin/pip install -q --disable-pip-version-check -r .venv/wanted.txt
    cp .venv/wanted.txt .venv/have.txt
}

say "set-up"
setup
[ "$mode" = quick ] || peers
say "format"
cargo fmt --all --check
say "clippy, warnings denied"
cargo clippy -q --workspace --all-targets --locked --release -- -D warnings
say "build"
cargo build -q --workspace --all-targets --locked --release
if [ "$mode" = quick ]; then
    say "unit, golden, tidy, 20 seeds"
    SEEDS=20 cargo test -q --workspace --locked --release --lib --bins
    SEEDS=20 cargo test -q --locked --release --test tidy --test golden --test sim
    exit 0
fi
say "every test"
[ -n "${SOAK:-}${RUNS:-}" ] || export MINUTES="${MINUTES:-0.3334}"
cargo test --workspace --locked --release --no-fail-fast
say "documentation"
RUSTDOCFLAGS="-D warnings" cargo doc -q --workspace --no-deps --locked --document-private-items
say "done"
