#!/bin/sh
# Checks one sealed record with a shell, sha256sum and openssl (3.0 or newer), nothing else.
#
#   verify.sh RECORD.jsonl KEY.pub.pem
#
# RECORD.head and RECORD.sig must lie beside RECORD.jsonl. What is checked: the head names this file
# and holds the SHA-256 of its bytes; the signature is one of this key over the bytes of the head.
# What was added to the record later lies beside it as RECORD+1.jsonl, RECORD+2.jsonl, each with its
# own head and signature, and names the SHA-256 of the record and of the book before it: all of them
# are checked, none may be missing between two others.
# Exit: 0 nothing was changed, 1 something was, 2 it could not be checked.
#
# The key proves no more than who held it: compare its fingerprint, which is printed, with the one
# that is known from paper.

usage() {
    cat >&2 <<'END'
usage: verify.sh RECORD.jsonl KEY.pub.pem
  RECORD.jsonl  a sealed record; its .head and .sig lie beside it
  KEY.pub.pem   the station's public key, whose fingerprint is known from paper
exit: 0 nothing was changed since it was sealed, 1 something was, 2 it could not be checked
END
    exit 2
}

trouble() {
    printf 'CANNOT CHECK: %s\n' "$1" >&2
    exit 2
}

failed() {
    printf 'FAILED: %s\n' "$1"
    exit 1
}

[ $# -eq 2 ] || usage
file=$1
key=$2
base=${file%.jsonl}
[ "$base" != "$file" ] || trouble "$file does not end in .jsonl"
name=${file##*/}

for tool in sha256sum openssl; do
    command -v "$tool" >/dev/null 2>&1 || trouble "$tool is not installed"
done
openssl pkeyutl -help 2>&1 | grep -q -e -rawin || trouble 'openssl 3.0 or newer is needed'
for needed in "$file" "$key"; do
    [ -r "$needed" ] || trouble "$needed can't be read"
done
[ -r "$base.head" ] || failed "there is no head $base.head: the record is not sealed"
[ -r "$base.sig" ] || failed "there is no signature $base.sig"

# The file is read from standard input: a name with a backslash would change sha256sum's output.
sum=$(sha256sum <"$file") || trouble "$file can't be read"
sum=${sum%% *}

# Byte for byte, so that nothing can hide in the head.
printf '%s  %s\n' "$sum" "$name" | cmp -s - "$base.head" ||
    failed "$name was changed after it was sealed, or its head belongs to another file"

openssl pkey -pubin -in "$key" -noout 2>/dev/null || trouble "$key is not a public key in PEM"
openssl pkeyutl -verify -pubin -inkey "$key" -rawin -in "$base.head" -sigfile "$base.sig" \
    >/dev/null 2>&1 || failed "the signature of $base.head was not made with this key"

# Addenda, in order: `{"k":"addendum","of":…,"head":…,"follows":…,"follows_head":…` is their second
# line.
added=0
before=${name%.jsonl}
before_sum=$sum
while :; do
    number=$((added + 1))
    own=${name%.jsonl}+$number
    [ -e "$base+$number.jsonl" ] || break
    [ -r "$base+$number.head" ] || failed "there is no head of the addendum $own"
    [ -r "$base+$number.sig" ] || failed "there is no signature of the addendum $own"
    own_sum=$(sha256sum <"$base+$number.jsonl") || trouble "$base+$number.jsonl can't be read"
    own_sum=${own_sum%% *}
    printf '%s  %s\n' "$own_sum" "$own.jsonl" | cmp -s - "$base+$number.head" ||
        failed "the addendum $own was changed after it was sealed"
    openssl pkeyutl -verify -pubin -inkey "$key" -rawin -in "$base+$number.head" \
        -sigfile "$base+$number.sig" >/dev/null 2>&1 ||
        failed "the signature of the addendum $own was not made with this key"
    says="\"of\":\"${name%.jsonl}\",\"head\":\"$sum\",\"follows\":\"$before\",\"follows_head\":\"$before_sum\","
    sed -n 2p "$base+$number.jsonl" | grep -q -F -e "\"k\":\"addendum\",$says" ||
        failed "the addendum $own was not made to this record, or to another one before it"
    added=$number
    before=$own
    before_sum=$own_sum
done
for other in "$base"+*.jsonl; do
    [ -e "$other" ] || continue
    number=${other#"$base+"}
    number=${number%.jsonl}
    case $number in
    *[!0-9]* | '') failed "$other lies among the addenda and is none" ;;
    esac
    [ "$number" -le "$added" ] || failed "the addendum ${name%.jsonl}+$((added + 1)) is missing"
done

print=$(openssl pkey -pubin -in "$key" -outform DER 2>/dev/null | sha256sum)
print=${print%% *}
printf 'OK: %s is unchanged since it was sealed with the key %s.\n' "$name" "$print"
printf 'Checked: its SHA-256 is %s, as its head says; the key signed that head.\n' "$sum"
[ "$added" -eq 0 ] ||
    printf 'Added since: %s addenda, each sealed with the key and made to this record.\n' "$added"
printf 'Not checked: whether the key is the station'"'"'s (is this the fingerprint on paper?), whether\n'
printf 'the clock of the station was right, and what the record says.\n'
named=$(head -n 1 "$file" | sed -n 's/.*"key":"\([0-9a-f]*\)".*/\1/p')
[ -z "$named" ] || [ "$named" = "$print" ] ||
    printf 'Note: it was opened under another key, %s.\n' "$named"
