#!/bin/sh
# Runs every fuzz target for a while: run-fuzz.sh 4s
set -eu
cd "$(dirname "$0")/.."
time=${1:-4s}
go list ./... | while read -r pkg; do
	for target in $(go test -list '^Fuzz' "$pkg" | grep '^Fuzz' || true); do
		echo "fuzz $pkg $target $time"
		go test -run '^$' -fuzz "^$target\$" -fuzztime "$time" "$pkg" >build/fuzz.log 2>&1 || { cat build/fuzz.log; exit 1; }
	done
done
