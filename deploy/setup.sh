#!/usr/bin/env bash
# Installs what this machine lacks, by the system's own package manager.
# Usage: setup.sh run|test|bench. With nothing lacking it is done at once, without a network.
set -euo pipefail
want=${1:-run}
cd "$(dirname "$0")/.."

have_postgres() {
  command -v postgres >/dev/null 2>&1 && return 0
  local d
  for d in /usr/lib/postgresql/*/bin /opt/homebrew/opt/postgresql*/bin /usr/local/opt/postgresql*/bin /usr/pgsql-*/bin; do
    [ -x "$d/initdb" ] && [ -x "$d/postgres" ] && return 0
  done
  return 1
}
have_chromium() { command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1; }

need=()
have_postgres || need+=(postgresql)
[ "$want" = run ] || have_chromium || need+=(chromium fonts-liberation)
if [ "$want" = test ]; then
  command -v npm >/dev/null 2>&1 || need+=(npm)
  command -v pgbouncer >/dev/null 2>&1 || [ -x /usr/sbin/pgbouncer ] || need+=(pgbouncer)
  # The race detector needs a C compiler.
  command -v "${CC:-gcc}" >/dev/null 2>&1 || need+=(gcc libc6-dev)
fi
# Benchmarks compare with python3-scipy, which serves the system's own Python.
[ "$want" = run ] || /usr/bin/python3 -c 'import importlib.util as u, sys; sys.exit(u.find_spec("scipy") is None)' 2>/dev/null || need+=(python3-scipy)
packages() {
  # What the tests take from npm; the exact versions stand in the lock files.
  [ "$want" = test ] || return 0
  # axe-core checks the pages in a real browser.
  [ -e testdata/axe/node_modules/axe-core/axe.min.js ] || npm ci --prefix testdata/axe --no-audit --no-fund --silent
  # A linter and a generator of clients check the description of the API.
  [ -e testdata/clients/node_modules/.package-lock.json ] || npm ci --prefix testdata/clients --no-audit --no-fund --silent
  (cd testdata/clients/golang && go mod download)
}
[ ${#need[@]} -eq 0 ] && { packages; exit 0; }

sudo=()
[ "$(id -u)" -eq 0 ] || sudo=(sudo)
if [ "$(id -u)" -ne 0 ] && ! command -v sudo >/dev/null 2>&1; then
  echo "please install, as root: ${need[*]}" >&2
  exit 1
elif command -v apt-get >/dev/null 2>&1; then
  echo "installing ${need[*]}" >&2
  "${sudo[@]}" apt-get -o DPkg::Lock::Timeout=600 update -qq
  # Debian would create and start a cluster of its own; the service starts its own server.
  if [ ! -e /etc/postgresql-common/createcluster.conf ]; then
    "${sudo[@]}" mkdir -p /etc/postgresql-common
    echo "create_main_cluster = false" | "${sudo[@]}" tee /etc/postgresql-common/createcluster.conf >/dev/null
  fi
  "${sudo[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq -o DPkg::Lock::Timeout=600 -o Dpkg::Options::=--force-confold "${need[@]}" >/dev/null
else
  echo "please install: ${need[*]}" >&2
  exit 1
fi
packages
