#!/usr/bin/env bash
# Counts the instructions of a report on two demo recordings with valgrind's callgrind and compares them with the numbers
# in instructions.txt: a guard against slowing down that trusts no clock. It uses the development build, which the tests
# have made already.
#
#   benches/instructions.sh          fails when a recording needs half as much again as noted
#   benches/instructions.sh --note   notes the present numbers, after a change that is worth them
set -euo pipefail
cd "$(dirname "$0")/.."

if ! command -v valgrind >/dev/null; then
    echo "valgrind is missing: installing it" >&2
    sudo=$([ "$(id -u)" = 0 ] || echo sudo)
    $sudo apt-get update -qq && $sudo apt-get install -qq -y valgrind >/dev/null
fi
cargo build --quiet --bin leadsman

# Compilers differ, and hash tables have random keys: half as much again is none of that.
most_percent=150
noted=benches/instructions.txt
counts=$(mktemp)
trap 'rm -f "$counts"' EXIT

for recording in captures/two-headings.log.gz captures/healthy-network.pcapng.gz; do
    said=$(valgrind --tool=callgrind --callgrind-out-file=/dev/null \
        target/debug/leadsman report --format json "$recording" 2>&1 >/dev/null)
    echo "$recording $(sed -n 's/.*Collected : \([0-9]*\).*/\1/p' <<<"$said")" >>"$counts"
done

if [ "${1:-}" = --note ]; then
    cp "$counts" "$noted"
    cat "$noted"
    exit
fi

failed=0
while read -r recording count; do
    before=$(awk -v of="$recording" '$1 == of { print $2 }' "$noted")
    percent=$((100 * ${count:?valgrind gave no count} / ${before:?no number is noted for $recording}))
    echo "$recording: $count instructions, $percent % of what is noted"
    if [ "$percent" -gt "$most_percent" ]; then
        echo "  more than $most_percent %: find out why, or run benches/instructions.sh --note" >&2
        failed=1
    fi
done <"$counts"
exit "$failed"
