#!/bin/sh
# Runs the tests with the race detector, where cgo and a C compiler are there,
# and names every test that was skipped. With CI set, a skip is a failure.
set -eu
cd "$(dirname "$0")/.."
mkdir -p build
race=-race
if ! command -v "${CC:-cc}" >/dev/null 2>&1; then
	echo "no C compiler: install gcc and libc6-dev for the race detector"
	if [ -n "${CI:-}" ]; then exit 1; fi
	race=
fi
packages=$(./tools/packages.sh)
# Two packages do without the detector, which makes them three times as slow:
# endtoend watches programs that are built without it, and photo fits photos on
# one goroutine.
plain='^paneglow/(preview/endtoend|render/panel/photo)$'
# -count=1: some tests build and run commands, which the test cache does not see.
go test -count=1 $race -json $(echo "$packages" | grep -vE "$plain") >build/test.json || failed=1
go test -count=1 -json $(echo "$packages" | grep -E "$plain") >>build/test.json || failed=1
go run ./tools/summary <build/test.json
exit "${failed:-0}"
