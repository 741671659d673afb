#!/bin/sh
# part.sh IN OUT COMMAND...: one file through a command. OUT appears only when it is whole, so what is not there is still to do.
set -eu
in=$1 out=$2
shift 2
part="$out.$$.part"
trap 'rm -f "$part"' EXIT
trap 'exit 1' HUP INT TERM
"$@" < "$in" > "$part"
# One answer a line: nothing was passed over, and nothing was cut off.
[ "$(wc -l < "$in")" -eq "$(wc -l < "$part")" ] || { echo "$in: not one answer a line" >&2; exit 1; }
sync "$part"
mv "$part" "$out"
