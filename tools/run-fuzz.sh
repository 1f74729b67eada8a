#!/bin/sh
# Runs every fuzz target for a number of executions: run-fuzz.sh 2000
#
# A count, not a time: with a time limit the go command now and then reports
# "context deadline exceeded" as a failing target when the limit falls into a
# running input. The count ends by itself; the time around it is only there for
# a target that hangs.
set -eu
cd "$(dirname "$0")/.."
count=${1:-2000}
go list ./... | while read -r pkg; do
	for target in $(go test -list '^Fuzz' "$pkg" | grep '^Fuzz' || true); do
		begun=$(date +%s)
		timeout 120 go test -run '^$' -fuzz "^$target\$" -fuzztime "${count}x" "$pkg" >build/fuzz.log 2>&1 || { cat build/fuzz.log; echo "failed: $pkg $target"; exit 1; }
		echo "fuzz $pkg $target ${count} executions, $(($(date +%s) - begun)) s"
	done
done
