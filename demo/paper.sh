#!/bin/sh
# Pictures of what the clinic of the demonstration prints, into demo/pictures/:
#   tapline demo --once --folder RUN && sh demo/paper.sh RUN
# Needs poppler's pdftoppm. TAPLINE: the program, if it is not on the path.
set -eu
run=$1
tapline=${TAPLINE:-tapline}
out=$(dirname "$0")/pictures
export TAPLINE_CONFIG="$run/tapline.toml"
records=$run/data/inspections
first=$(find "$records" -name '*.jsonl' | sort | head -n 1)
id() { basename "$first" .jsonl | sed "s/....\$/$1/"; }

picture() { # name, dots an inch, number of the record, more words
    name=$1 dots=$2 number=$3
    shift 3
    "$tapline" report "$(id "$number")" --folder "$run/data" --write "$run/$name.pdf" "$@"
    pdftoppm -r "$dots" -png -singlefile "$run/$name.pdf" "$out/$name"
}

picture paper-pass 80 0001
picture paper-fail 80 0002 --language de
month=$(basename "$first" | sed 's/.*-\(....\)\(..\)..-....\.jsonl$/\1-\2/')
"$tapline" summary "$month" --folder "$run/data" --write "$run/paper-month.pdf"
pdftoppm -r 80 -png -singlefile "$run/paper-month.pdf" "$out/paper-month"
for number in 0001 0002 0005; do
    word=$(case $number in 0001) echo pass ;; 0002) echo fail ;; *) echo hold ;; esac)
    "$tapline" label "$(id "$number")" --folder "$run/data" --write "$out/label-$word.png"
done
"$tapline" label --asset P-0101 --folder "$run/data" --write "$out/label-asset.png"
for what in control selftest cautions; do
    lead=$(case $what in control) echo "--lead L-1" ;; esac)
    # shellcheck disable=SC2086
    "$tapline" sheet "$what" $lead --write "$run/sheet-$what.pdf"
    pdftoppm -r 80 -png -singlefile "$run/sheet-$what.pdf" "$out/sheet-$what"
done
