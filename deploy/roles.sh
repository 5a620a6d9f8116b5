#!/usr/bin/env bash
# Makes the database's owner, which migrates, and the plain role that the
# service runs as: it owns nothing. Neither is a superuser or bypasses row-level
# security. Runs once, against a fresh database, as its superuser.
set -euo pipefail
psql -v ON_ERROR_STOP=1 --username "${POSTGRES_USER:-postgres}" --dbname "$POSTGRES_DB" \
  -v owner="$OWNER_PASSWORD" -v service="$SERVICE_PASSWORD" -v database="$POSTGRES_DB" <<'SQL'
CREATE ROLE dryslot_owner LOGIN PASSWORD :'owner' NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
CREATE ROLE dryslot_service LOGIN PASSWORD :'service' NOSUPERUSER NOCREATEDB NOCREATEROLE NOBYPASSRLS;
ALTER DATABASE :"database" OWNER TO dryslot_owner;
REVOKE TEMPORARY ON DATABASE :"database" FROM PUBLIC;
SQL
