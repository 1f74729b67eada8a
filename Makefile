# make demo   render, check, pack and draw the demo into build/demo
# make test   format, vet, staticcheck, tests with the race detector, short fuzzing
# make bench  measure, print a table, write build/bench.json

GO ?= go
FUZZCOUNT ?= 2000

.PHONY: demo test bench check-format vet staticcheck unit fuzz build

demo: build
	build/paneglow demo --out build/demo

build:
	@mkdir -p build
	$(GO) build -o build/paneglow ./cmd/paneglow

test: check-format vet staticcheck unit fuzz

check-format:
	@files=$$(gofmt -l .); if [ -n "$$files" ]; then echo "gofmt differs:"; echo "$$files"; exit 1; fi

vet:
	$(GO) vet ./...

staticcheck:
	$(GO) tool staticcheck ./...

unit:
	./tools/run-tests.sh

fuzz:
	./tools/run-fuzz.sh $(FUZZCOUNT)

bench:
	@mkdir -p build
	$(GO) run ./tools/bench -out build/bench.json
