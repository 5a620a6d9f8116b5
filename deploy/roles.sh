#!/usr/bin/env bash
# Makes the plain role that the service runs as: it owns nothing, is no
# superuser and bypasses no row-level security. The owner migrates.
# Runs against a fresh database with POSTGRES_USER as owner.
set -euo pipefail
psql -v ON_ERROR_STOP=1 --username "$POSTGRES_USER" --dbname "$POSTGRES_DB" -v secret="$SERVICE_PASSWORD" <<'SQL'
CREATE ROLE dryslot_service LOGIN PASSWORD :'secret' NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
GRANT CONNECT ON DATABASE dryslot TO dryslot_service;
SQL
