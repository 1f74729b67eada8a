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
# Some packages do without the detector, which makes them three times as slow:
# endtoend, twin and sim watch programs that are built without it, photo fits
# photos on one goroutine, table packs clips for minutes, whose goroutines
# render/prove runs under it; and the command and the window prove whole shows over
# and over. The window's tests that have goroutines of their own run with it too.
plain='^paneglow/(preview/(endtoend|model)|controller/(boardtest|twin|sim)|render/(panel/photo|table|table/corpus)|cmd/paneglow)$'
# -count=1: some tests build and run commands, which the test cache does not see.
go test -count=1 $race -json $(echo "$packages" | grep -vE "$plain") >build/test.json || failed=1
go test -count=1 -json $(echo "$packages" | grep -E "$plain") >>build/test.json || failed=1
if [ -n "$race" ]; then
	go test -count=1 $race -run 'Watch|Sink|Saving' ./preview/model || failed=1
fi
go run ./tools/summary <build/test.json
exit "${failed:-0}"
