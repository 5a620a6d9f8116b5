# The project's commands. `make help` lists them.
SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
GO ?= go

.PHONY: help setup run lint check test short deadcode fuzz bench load largest latency abuse crash years rolling backtest chances day vuln shared days plain

help: ## list the targets
	@grep -hE '^[a-z-]+:.*## ' $(MAKEFILE_LIST) | sed -E 's/:.*## /\t/' | expand -t 14

setup: ## install what the tests need (PostgreSQL, Chromium, Node for axe-core)
	@bash deploy/setup.sh test

run: ## the service with its own PostgreSQL, sample weather and a demo project
	@bash deploy/setup.sh run
	@$(GO) build -o bin/api ./cmd/api
	@DRYSLOT_FEEDS=$${DRYSLOT_FEEDS:-replay} ./bin/api demo

lint: ## gofmt, go vet, staticcheck
	@test -z "$$(gofmt -l . | tee /dev/stderr)"
	@$(GO) vet ./...
	@$(GO) tool staticcheck ./...

BENCHED := ./internal/concrete ./internal/forecast/... ./internal/planner/...

# Where goroutines share things, tests run with the race detector.
SHARED := internal/(app|jobs|projects|alerts|fetching|retention|postgres|metrics|web|web/api|web/pages|notify/email|notify/webhook|forecast/fetch)$$
# What only computes, and starts no goroutine, is compiled without the detector:
# with it, it would take ten times as long.
COMPUTES := $(addprefix dryslot/internal/,concrete pour takeoff forecast forecast/belief planner planner/policy planner/hourly \
	planner/advise planner/crewday planner/harm planner/job) math math/rand/v2 encoding/json compress/flate crypto/... gonum.org/... github.com/tidwall/... github.com/ringsaturn/...
# Days that are played through, and learning from many, are left out of what runs
# with it: they do one thing at a time, and it finds nothing more there.
DAYS := ^(TestPlayed|TestADayWithoutATap|TestDemonstration|TestAFeedThat(StatesTooMuch|IsRight)|TestEachEveningAndMorningIsToldOnceForYears)
LOAD := ./internal/measure/load/run
# What needs a database, a browser or minutes is left to `make test`.
LEFT_OUT := internal/(app|jobs|postgres|projects|alerts|fetching|retention|web|measure)(/|$$)

check: ## what a developer runs all the time: no database, no browser, no network
	@test -z "$$(gofmt -l . | tee /dev/stderr)"
	@$(GO) vet ./...
	@$(GO) test -short -ldflags=-w $$($(GO) list ./... | grep -vE '$(LEFT_OUT)')

# Two parts run side by side, so that no core waits for the slowest test of one of them.
# Go keeps what passed: a package is tested again when it or what it reads has changed.
test: setup lint ## everything, the long targets in short; then each published source with its number of checks
	@checks=$$(mktemp); trap 'rm -f "$$checks"' EXIT; \
	$(MAKE) --no-print-directory -k -j2 shared days plain short CHECKS="$$checks"; \
	echo; echo "checks  source"; \
	LC_ALL=C sort "$$checks" | uniq -c | sort -rn | awk '{n=$$1; $$1=""; printf "%6d %s\n", n, $$0; s+=n} END {printf "%6d  in all\n", s; exit s==0}'

# go vet is part of the linters. The bound is for a test that hangs: a busy machine
# takes ten times as long as an idle one. Linked without tables for a debugger (-w).
TESTS := $(GO) test -vet=off -ldflags=-w -timeout 45m

shared:
	@$(TESTS) -race $(COMPUTES:%=-gcflags=%=-race=false) -skip '$(DAYS)' $$($(GO) list ./... | grep -E '$(SHARED)')

days:
	@$(TESTS) -run '$(DAYS)' ./internal/web/api ./internal/app ./internal/projects ./internal/web/pages

# The sources of all checks are appended to the file CHECKS.
CHECKS ?=

plain:
	@$(TESTS) -json $$($(GO) list ./... | grep -vE '$(SHARED)') | $(GO) run ./internal/measure/report -checks "$(CHECKS)"

# Short forms of the long targets, so that none of them stops working unnoticed.
# That of crash and of load are tests.
short:
	@$(MAKE) --no-print-directory fuzz FUZZTIME=100x GENERATED=50 FUZZERS='openmeteo:FuzzDecodeForecast metnorway:FuzzDecode nws:FuzzDecodeGrid' > /dev/null
	@$(GO) test -run='^$$' -bench=. -benchtime=1x -short $(BENCHED) > /dev/null
	@$(GO) test -run='^$$' -bench=Reads -benchtime=1x -short ./internal/measure/load > /dev/null
	@$(GO) test -run='^$$' -bench=FirstPaint -benchtime=1x -short ./internal/web/pages/view > /dev/null
	@$(GO) run ./internal/measure/backtest/run -regions newyork -jobs 1 > /dev/null

# The language that days are played in.
SPOKEN ?= en

day: ## days played through, with a diary of what was advised and sent: invented weather; SPOKEN=es-419 has it in Spanish
	@$(GO) test -count=1 -parallel 1 -run '^TestPlayed' -v ./internal/web/api -played.language $(SPOKEN) | grep -vE '^(=== |PASS|ok)' | sed 's/^ *played_test.go:[0-9]*: //'

axe: setup ## every page in every state, width, mode and language before axe-core; takes some ten minutes
	@$(GO) test ./internal/web/pages/view -run='^TestPagesInABrowser$$' -count=1 -v -timeout 1h -axe.all | sed -nE '/--- FAIL|browser_test.go/p'

# A check that could not be made fails, and says why.
vuln: ## known vulnerabilities in what the commands call, by govulncheck and its database
	@out=$$(mktemp); trap 'rm -f "$$out"' EXIT; code=0; $(GO) tool govulncheck ./... > "$$out" 2>&1 || code=$$?; \
	if [ $$code -eq 1 ] && grep -q 'fetching vulnerabilities' "$$out"; then \
		echo "not checked: the database of vulnerabilities can't be reached"; fi; \
	cat "$$out"; exit $$code

deadcode: ## functions that no command reaches
	@$(GO) tool deadcode ./cmd/... ./internal/measure/... $(LOAD)

# Each decoder is fuzzed for FUZZTIME; a finding is kept by Go beside its test.
FUZZTIME ?= 10m
FUZZERS := openmeteo:FuzzDecodeForecast openmeteo:FuzzDecodeEnsemble metnorway:FuzzDecode nws:FuzzDecodeGrid nws:FuzzDecodeHourly nws:FuzzDecodePoint \
	openmeteo:FuzzMinutely metnorway:FuzzNowcast nws:FuzzShort

# So many requests are generated from the description of the API.
GENERATED ?= 10000

fuzz: ## every decoder for FUZZTIME (10m), FUZZERS names them; 10,000 generated requests of the API
	@out=$$(mktemp); figures=$$(mktemp); trap 'rm -f "$$out" "$$figures"' EXIT; \
	for f in $(FUZZERS); do \
		$(GO) test -run='^$$' -fuzz="^$${f#*:}$$" -fuzztime=$(FUZZTIME) -fuzzminimizetime=10x ./internal/forecast/$${f%%:*} | tee "$$out"; \
		n=$$(grep -o 'execs: [0-9]*' "$$out" | tail -1 | grep -o '[0-9]*' || true); \
		echo "$${f%%:*}_$${f#*:}: $${n:-0} execs" >> "$$figures"; \
	done; \
	$(GO) test ./internal/web/api -run='^TestGeneratedRequests$$' -count=1 -v -timeout 2h -generated=$(GENERATED) | tee "$$out"; \
	sed -nE 's/^ +[a-z_]+\.go:[0-9]+: (generated_requests: .*)$$/\1/p' "$$out" >> "$$figures"; \
	echo; cat "$$figures"

bench: ## figures of speed and of nearness to the optimum, as ratios taken in one run
	@bash deploy/setup.sh bench
	@out=$$(mktemp); trap 'rm -f "$$out"' EXIT; \
	$(GO) test -run='^$$' -bench=. $(BENCHED) | tee "$$out"; \
	$(GO) test -run='^$$' -bench=Reads -benchtime=1x ./internal/measure/load | tee -a "$$out"; \
	$(GO) test -run='^$$' -bench=FirstPaint -benchtime=1x ./internal/web/pages/view | tee -a "$$out"; \
	echo; grep -E '^[a-z0-9_]+: [-+.e0-9]+ [^ ]+$$' "$$out"

load: setup ## 10,000 projects on 500 cells, all due at once, beside readers, against a provider on this machine; then latency: some thirty minutes
	@$(GO) run $(LOAD)
	@$(MAKE) --no-print-directory latency

largest: setup ## the largest valid projects through the API, and 100 of them at once beside another account's
	@$(GO) run $(LOAD) -largest -projects 100

latency: setup ## from a forecast or an entry that puts soft concrete at risk to the message, 1,000 projects under way; some ten minutes
	@$(GO) run $(LOAD) -under-way -projects 1000 -cells 250

abuse: setup ## one account's abuse (10,000 bad tokens, 1,000 projects, endless bodies, stalled webhooks) beside another account
	@$(GO) run $(LOAD) -abuse -projects 1000

# So often something is killed: 1000 is the long run, some 40 minutes.
ROUNDS ?= 1000
# So often the primary of two PostgreSQL is killed, and its standby takes its place.
FAILOVERS ?= $(shell expr $(ROUNDS) / 50)

crash: setup ## commands, PostgreSQL, PgBouncer and migrations killed ROUNDS (1000) times at random moments, all kinds of alert in play
	@out=$$(mktemp); trap 'rm -f "$$out"' EXIT; \
	$(GO) test ./internal/app -run='SIGKILL|Failover' -count=1 -v -timeout 3h -crash.rounds $(ROUNDS) -crash.failovers $(FAILOVERS) | tee "$$out"; \
	echo; sed -nE 's/^ +[a-z_]+\.go:[0-9]+: ([a-z_]+: [0-9]+ [a-z]+)$$/\1/p' "$$out"

# BEFORE is a commit whose version is upgraded from.
BEFORE ?=

rolling: setup ## this version takes the place of that of BEFORE=commit without a stop: both serve, plan and alert on one database
	@$(GO) run ./internal/measure/rolling -before "$(BEFORE)"

years: setup ## two years on the clock in four zones, services stopped and started at random; some ten minutes
	@out=$$(mktemp); trap 'rm -f "$$out"' EXIT; \
	$(GO) test ./internal/projects -run=ForYears -count=1 -v -timeout 1h -years.days 731 | tee "$$out"; \
	echo; sed -nE 's/^ +[a-z_]+\.go:[0-9]+: ([a-z_]+: [0-9]+ [a-z]+)$$/\1/p' "$$out"

# The planner against rules of thumb and perfect foresight, under emulated
# forecasts; WEATHER is a folder of files in the form of testdata/weather, JOBS
# about how many jobs a region and table, 0 for every start date.
WEATHER ?= testdata/weather
JOBS ?= 40

backtest: ## the planner against rules of thumb and perfect foresight; WEATHER=folder of station records, JOBS=40 a region
	@$(GO) run ./internal/measure/backtest/run -weather "$(WEATHER)" -jobs $(JOBS)

chances: ## how far emulated and drawn chances of rain can be believed, by lead time
	@$(GO) run ./internal/measure/backtest/run -weather "$(WEATHER)" -what forecasts
