# The project's commands. `make help` lists them.
SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.DEFAULT_GOAL := help
GO ?= go

.PHONY: help run test bench fuzz lint setup

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

test: setup lint ## everything, with the race detector; then each published source with its number of checks
	@checks=$$(mktemp); trap 'rm -f "$$checks"' EXIT; \
	DRYSLOT_CHECKS="$$checks" $(GO) test -race -timeout 15m ./...; \
	echo; echo "checks  source"; \
	LC_ALL=C sort "$$checks" | uniq -c | sort -rn | awk '{n=$$1; $$1=""; printf "%6d %s\n", n, $$0; s+=n} END {printf "%6d  in all\n", s; exit s==0}'
