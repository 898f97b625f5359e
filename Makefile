# One way to build, test, lint and measure; CI runs the same targets.

GO       ?= go
GOLANGCI ?= $(GO) run github.com/golangci/golangci-lint/v2/cmd/golangci-lint@v2.15.0
FUZZTIME ?= 10s

.PHONY: deploy-try faults faults-short all build test needs check lint vuln fuzz bench speed golden

all: build

build:            ## the program, for this machine
	$(GO) build -o build/canter ./cmd/canter

test: needs check ## everything that must pass: what CI runs
	$(GO) test -timeout 20m ./...

needs:            ## install what the tests need, or say what to install
	sh .ci/needs

check:            ## formatting and vet
	@test -z "$$(gofmt -l .)" || { echo "not formatted:"; gofmt -l .; exit 1; }
	$(GO) vet ./...

lint:             ## golangci-lint, with .golangci.yml
	$(GOLANGCI) run ./...

vuln:             ## known vulnerabilities in what is used; fails when they can't be asked for
	GO=$(GO) VULN=must sh .ci/vuln

fuzz:             ## each fuzz target for FUZZTIME
	sh .ci/fuzz $(FUZZTIME)

bench:            ## benchmarks, side by side in one run
	$(GO) test -run '^$$' -bench . -benchmem ./...

speed:            ## the design's targets, measured in one run; nothing else should run meanwhile
	$(GO) run ./cmd/canter/speed

faults:           ## break it in every way, at length, and write the fault table to deploy/FAULTS.md (needs root, for mounts)
	CANTER_FAULTS=long $(GO) test -count=1 -timeout 4h -v ./cmd/canter/faults -update

faults-short:     ## the same with seconds of outage; writes nothing
	CANTER_FAULTS=short $(GO) test -count=1 -timeout 1h -v ./cmd/canter/faults

golden:           ## write golden files anew; look at the difference before you commit
	$(GO) test ./alerts/chart ./alerts/digest ./alerts/message ./cmd/canter/report ./cmd/canter/season ./ingest/formats ./schemas/club -update
	$(GO) test ./schemas/history -run DataDictionary -update
	$(GO) test ./cmd/canter -run TestAnalysts -update
	$(GO) test ./cmd/canter -run Licences -licences

deploy-try:       ## follow deploy/README.md on a bare Debian with systemd, in a container (needs root and apt-get; minutes)
	GO=$(GO) sh .ci/deploy
