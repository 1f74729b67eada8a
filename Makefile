# make demo   render, check, pack and draw the demo into build/demo
# make test   format, vet, staticcheck, tests with the race detector, short fuzzing
# make bench  measure, print a table, write build/bench.json; BENCH=Upload: only some
# make preview      build the window, build/paneglow-preview
# make screenshots  take the pictures of docs/window anew

GO ?= go
FUZZCOUNT ?= 2000

# The window's tests are built with a tag: they cannot start without a display.
TAGS = -tags display

.PHONY: demo preview screenshots test bench check-format vet staticcheck unit fuzz build

demo: build
	build/paneglow demo --out build/demo

build:
	@mkdir -p build
	$(GO) build -o build/paneglow ./cmd/paneglow

preview:
	@./tools/preview-packages.sh install
	@mkdir -p build
	$(GO) build -o build/paneglow-preview ./cmd/paneglow-preview

screenshots: preview
	$(GO) run ./tools/screenshots

test: check-format vet staticcheck unit fuzz

check-format:
	@files=$$(gofmt -l .); if [ -n "$$files" ]; then echo "gofmt differs:"; echo "$$files"; exit 1; fi

vet:
	packages=$$(./tools/packages.sh) && $(GO) vet $(TAGS) $$packages

staticcheck:
	packages=$$(./tools/packages.sh) && $(GO) tool staticcheck $(TAGS) $$packages

unit:
	./tools/run-tests.sh

fuzz:
	./tools/run-fuzz.sh $(FUZZCOUNT)

bench:
	@mkdir -p build
	$(GO) run ./tools/bench -out build/bench.json -bench '$(BENCH)'
