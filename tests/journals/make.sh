#!/bin/sh
# Writes a set of books with the program of today, from the demonstration's invented clinic:
#
#   cargo build --release
#   sh tests/journals/make.sh target/release/tapline tests/journals/v2
#
# Once committed a set is never made again: that is what it is for.
set -eu
tapline=$(realpath "$1")
mkdir "$2"
out=$(realpath "$2")
work=$(mktemp -d)
station=
trap '[ -z "$station" ] || kill "$station" 2>/dev/null || true; rm -rf "$work"' EXIT

# Sealed: a broken earth, which fails; from the simulated bench.
"$tapline" demo --scene broken-earth --once --folder "$work" >/dev/null 2>&1
export TAPLINE_SOCKET="$work/tapline.sock"

start() {
    "$@" "$tapline" serve --config "$work/tapline.toml" >"$work/log" 2>&1 &
    station=$!
    tries=0
    until "$tapline" status 2>/dev/null | grep -q '^Bench 1'; do
        tries=$((tries + 1))
        [ "$tries" -lt 200 ] || { cat "$work/log"; exit 1; }
        sleep 0.1
    done
}

# No warning, as on a power cut. `env` and `faketime` become the program, so that it is the one.
cut() {
    kill -9 "$station"
    wait "$station" 2>/dev/null || true
    station=
}

# The same station again, its instruments gone: two more inspections are begun.
start env
"$tapline" scan P-0104 >/dev/null
ended=$("$tapline" begin | tail -1)
"$tapline" note "the drum was still turning" >/dev/null
"$tapline" end --outcome sent_out --reason "gone back to its ward" >/dev/null
"$tapline" scan P-0105 >/dev/null
open=$("$tapline" begin | tail -1)
"$tapline" answer pass --item markings >/dev/null
cut
# And once more, with its clock set forward meanwhile.
start env DONT_FAKE_MONOTONIC=1 FAKETIME_DONT_FAKE_MONOTONIC=1 faketime -f +10m
"$tapline" note "the last line of this book is torn" >/dev/null
cut

for folder in station idle open inspections; do cp -r "$work/data/$folder" "$out/"; done
mkdir "$out/keys"
cp "$work"/data/keys/*.pub.pem "$out/keys/"
# Torn: as if the power had gone in the middle of the last write.
size=$(wc -c <"$out/open/$open.jsonl")
truncate -s $((size - 40)) "$out/open/$open.jsonl"
# Damaged: one letter of the second commit of the inspection that was ended.
damaged=$(find "$out/inspections" -name "$ended.jsonl")
sed -i 's/the drum was still turning/the drum was never turning/' "$damaged"
find "$out" -type f | sort | xargs sha256sum
