# make test does everything: format, vet, staticcheck, all tests, emulated cores, the README's
# commands, and says what it could not do.

GO ?= go
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
# Go leaves folders named testdata out of ./..., so those with code are named.
PACKAGES = ./... ./testdata/benchfront ./testdata/benchscore/... ./testdata/benchtarget/... \
	./testdata/broken ./testdata/coverage ./testdata/demo/... ./testdata/hardinput ./testdata/kernels/... \
	./testdata/mutate/... ./testdata/notebooks ./testdata/randomfront ./testdata/randomnet \
	./testdata/recovery/... ./testdata/slow/... ./testdata/smallest/... ./.ci/release

.PHONY: test tools format vet staticcheck unit page notebook fuzz fuzz-short emulate emulators \
	install bench bench-broken bench-coverage bench-few bench-smallest vectors bench-target measure \
	front-long kernels demo-data release man kills interrupts mutants vulnerabilities

test: tools format vet staticcheck unit page notebook fuzz-short emulate

# The emitted C is compiled as C and as C++, and built with CMake; mandoc reads the manual pages.
# Where apt-get can, it installs the compilers; elsewhere the tests that need them fail and say so.
tools:
	@for tool in gcc g++ cmake mandoc; do \
		command -v $$tool >/dev/null && continue; \
		echo "make: $$tool is missing, trying apt-get"; \
		if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
			apt-get update -qq && apt-get install --no-remove -y -qq $$tool || \
				echo "make: COULD NOT install $$tool"; \
		else \
			echo "make: COULD NOT install $$tool: install the Debian package $$tool as root"; \
		fi; \
	done

# gofmt, and no line of Go wider than 100 columns.
format:
	@unformatted=$$(gofmt -l $$(git ls-files '*.go')); \
	if [ -n "$$unformatted" ]; then echo "gofmt -w these files: $$unformatted"; exit 1; fi
	@LC_ALL=C awk -f .ci/width.awk $$(git ls-files '*.go')

# GOARCH=386: a constant beyond 32 bits does not build there.
vet:
	$(GO) vet $(PACKAGES)
	GOARCH=386 $(GO) vet ./...

staticcheck:
	$(GO) run $(STATICCHECK) $(PACKAGES)

unit:
	$(GO) test -timeout 40m $(PACKAGES)
	$(GO) test -race -run TestTwoPlansOnTheSameInputs ./budget

# Feeds every reader of files from outside with damaged files, one after the other. FUZZ is a time
# or a number of files (500x) each. Without -fuzzminimizetime Go spends a minute on making one
# interesting file smaller. On a busy machine Go can end a run by time with "context deadline
# exceeded", without a file that failed: that is no failure.
FUZZ ?= 10m

fuzz:
	@out=$$(mktemp) && trap 'rm -f "$$out"' EXIT && \
	for file in $$(git ls-files '*_test.go' | xargs grep -l '^func Fuzz'); do \
		for name in $$(sed -n 's/^func \(Fuzz[A-Za-z]*\).*/\1/p' $$file); do \
			echo "make: $$(dirname $$file) $$name"; \
			$(GO) test ./$$(dirname $$file) -run '^$$' -fuzz "^$$name$$" -fuzztime $(FUZZ) \
				-fuzzminimizetime 10x -parallel 1 >"$$out"; \
			tail -n 20 "$$out" | cut -c -300 | grep -v baseline; \
			grep -q '^ok' "$$out" || grep -q '^    context deadline exceeded' "$$out" || exit 1; \
		done; \
	done

fuzz-short:
	@$(MAKE) --no-print-directory fuzz FUZZ=100x

# Shows signoff.html in a headless browser: limits move, names stay text, the first page is one
# sheet, and what is judged is printed.
page:
	@command -v chromium >/dev/null || \
		$(MAKE) --no-print-directory install DEBIAN="chromium fonts-dejavu-core"
	$(GO) vet -tags browser ./exporter/report/page
	$(GO) test -tags browser -run Browser ./exporter/report/page

# Runs what the pages in docs tell users to run in their notebooks, and plans the result; compares
# features from samples with a transform of numpy.
notebook:
	@/usr/bin/python3 -c 'import torch' 2>/dev/null || \
		$(MAKE) --no-print-directory install DEBIAN="python3-torch python3-numpy"
	$(GO) vet -tags notebook ./cmd/kerf ./frontend
	$(GO) test -tags notebook -run Notebook ./cmd/kerf ./frontend

# Where apt-get can, it installs what is missing; elsewhere the tests say which package they lack.
install:
	@if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		echo "make: installing $(DEBIAN) with apt-get"; \
		apt-get update -qq && \
			DEBIAN_FRONTEND=noninteractive apt-get install --no-remove -y -qq $(DEBIAN) || \
			echo "make: COULD NOT install $(DEBIAN)"; \
	else \
		echo "make: COULD NOT install $(DEBIAN): install these Debian packages as root"; \
	fi

# Kills 200 runs at random moments; unit kills a dozen.
kills:
	KERF_KILLS=200 $(GO) test -count=1 -timeout 60m -v -run 'InterruptedRuns/killed' ./cmd/kerf

# Interrupts every long verb (Ctrl-C) at 20 drawn moments; unit interrupts three verbs at three each.
# KERF_INTERRUPTS is the number of moments; 20 take half an hour of processor time. Verbs that
# measure need the emulators, and are skipped without them.
interrupts:
	KERF_INTERRUPTS=20 $(GO) test -count=1 -timeout 120m -v -run CtrlCEndsEveryVerb ./cmd/kerf

# Runs the emitted C on emulated cores and compares every integer with Go; checks what measures it
# against manuals, llvm-mca and published figures.
emulate: emulators
	$(GO) vet -tags emulate ./exporter/emit ./targets/measure ./cmd/kerf ./testdata/benchtarget
	$(GO) test -tags emulate ./targets/measure
	$(GO) test -tags emulate -timeout 40m -run Emulated ./cmd/kerf ./testdata/benchtarget
	$(GO) test -tags emulate -timeout 40m -run 'Emulated|TenMillion|ComparisonNames|Interrupt|Kernels|SectionsOf|WeightsInRAM' ./exporter/emit

# Forty times as many windows of every shape as make emulate runs; half an hour and more.
front-long: emulators
	KERF_FRONT_WINDOWS=20000 $(GO) test -tags emulate -timeout 10h -run FrontEndOnEmulated \
		./exporter/emit

EMULATORS = qemu-user gcc-arm-none-eabi libnewlib-arm-none-eabi qemu-system-arm \
	gcc-riscv64-unknown-elf picolibc-riscv64-unknown-elf qemu-system-misc gcc-avr avr-libc \
	simavr libsimavr-dev llvm-14 clang libclang-rt-14-dev g++-multilib cppcheck

# Where apt-get can, it installs what is missing; elsewhere the tests say which package they lack.
emulators:
	@if dpkg -s $(EMULATORS) >/dev/null 2>&1; then exit 0; fi; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
		echo "make: installing compilers and emulators with apt-get"; \
		apt-get update -qq && \
			DEBIAN_FRONTEND=noninteractive apt-get install --no-remove -y -qq $(EMULATORS) || \
			echo "make: COULD NOT install $(EMULATORS)"; \
	else \
		echo "make: COULD NOT install the emulators:" \
			"install as root the Debian packages $(EMULATORS)"; \
	fi

# Measures the emitted C on emulated cores, fits budget/cost/kernels.toml and front.toml and writes
# docs/cost.md and docs/cost-networks.md (testdata/kernels/README.md).
kernels: emulators
	$(GO) run ./testdata/kernels
	$(GO) run ./testdata/kernels -front
	$(GO) run ./testdata/kernels -table

# Measures the handoff of the demo on every profile, beside the estimates.
MEASURE_TARGETS = cortex-m3:64 cortex-m7:200 cortex-m33:64 avr8:16

measure: emulators
	@dir=$$(mktemp -d) && trap 'rm -rf "$$dir"' EXIT && \
	$(GO) run ./cmd/kerf demo --out "$$dir/demo" >"$$dir/signoff.txt" && \
	for t in $(MEASURE_TARGETS); do \
		printf '\n[[target]]\nprofile = "%s"\nclock = "%s MHz"\n' "$${t%:*}" "$${t#*:}" \
			>>"$$dir/demo/job.toml"; \
	done && \
	$(GO) run ./cmd/kerf measure "$$dir/demo/job.toml"

# One step and one window of the emitted C on every core, beside plain float C
# (testdata/benchtarget/README.md, testdata/benchfront/README.md).
bench-target: emulators
	$(GO) run ./testdata/benchtarget
	$(GO) run ./testdata/benchfront

# Measures everything that a table of the project says; two hours or more.
bench: bench-coverage bench-broken bench-few bench-smallest
	$(GO) test -run '^$$' -bench . ./model ./model/lanes ./quant ./testdata/benchscore

# How often do the intervals hold the truth? (testdata/coverage/README.md)
bench-coverage:
	@nice $(GO) run ./testdata/coverage >docs/intervals-tables.md.new
	mv docs/intervals-tables.md.new docs/intervals-tables.md

# Is a network that was trained on few recordings worse than what plan takes without training?
# (docs/recovery.md)
bench-few:
	@nice $(GO) run ./testdata/recovery/few -draws 2 cityweather
	@nice $(GO) run ./testdata/recovery/few -draws 8 cityweather/everywhere
	@nice $(GO) run ./testdata/recovery/few -draws 1 -epochs 40 ram/everywhere \
		accumulator/everywhere demo/everywhere

# Does plan with [recovery] come near the smallest networks that are known? It also says the
# processor time (testdata/smallest/README.md).
bench-smallest:
	@nice $(GO) run ./testdata/smallest/reference -compare

# Does kerf notice a network that does not do what it was trained for? Jobs broken on purpose, the
# same unbroken, and plans on splits, beside those of an older kerf that is built for it
# (testdata/broken/README.md); an hour or more.
OLDER = 0ccad56

bench-broken:
	@dir=$$(mktemp -d) && trap 'rm -rf "$$dir"' EXIT && \
	git archive $(OLDER) | tar -x -C "$$dir" && \
	(cd "$$dir" && $(GO) build -o older ./cmd/kerf) && \
	nice $(GO) run ./testdata/broken -peer "$$dir/older"

# Writes the vector kernels anew, from the programs beside them.
vectors:
	$(GO) generate ./portable ./model/lanes ./quant ./testdata/benchscore

# Changes one operator at a time and counts what the tests notice (testdata/mutate/README.md); an
# hour or more.
mutants:
	@nice -n 10 $(GO) run ./testdata/mutate

# Makes the demo job anew in WORK: recordings (Go, seconds), network and scores
# (Debian's python3-torch and python3-numpy, minutes), errors by plain numpy.
# What goes from there into testdata/demo says testdata/demo/README.md.
WORK ?= /tmp/kerf-demo-data

demo-data:
	$(GO) run ./testdata/demo/generate -out $(WORK)
	/usr/bin/python3 testdata/demo/train.py $(WORK) $(WORK)
	/usr/bin/python3 testdata/demo/check.py $(WORK)

# Manual pages of every command, from the commands themselves.
man:
	KERF_UPDATE_MAN=1 $(GO) test -count=1 -run ManPages ./cmd/kerf

# Static binaries for every platform with checksums and bills of materials, built twice and
# compared. The folder must not exist.
RELEASE ?= release

# Releases are made with a Go without known faults, whatever Go is installed.
RELEASE_GO ?= go1.26.11

release:
	GOTOOLCHAIN=$(RELEASE_GO) $(GO) run ./.ci/release -out $(RELEASE)
	cd $(RELEASE) && sha256sum --check --quiet SHA256SUMS

# Looks kerf's code, its dependencies and the Go of releases up in the Go vulnerability database.
# The database comes from the module proxy, as a module, so that no other server is needed; it
# changes, so this is no part of make test.
vulnerabilities:
	@dir=$$(mktemp -d) && trap 'rm -rf "$$dir"' EXIT && \
	(cd "$$dir" && $(GO) mod download -json golang.org/x/vulndb@latest >module.json) && \
	data=$$(sed -n 's/^[[:space:]]*"Dir": "\(.*\)",$$/\1/p' "$$dir/module.json") && \
	sed -n 's/^[[:space:]]*"Version": "\(.*\)",$$/make: vulnerability database \1/p' \
		"$$dir/module.json" && \
	(cd "$$data" && $(GO) run ./cmd/indexdb -vulns data/osv -out "$$dir/db") && \
	GOTOOLCHAIN=$(RELEASE_GO) $(GO) run golang.org/x/vuln/cmd/govulncheck@v1.9.0 \
		-db "file://$$dir/db" ./...
