#!/bin/sh
# Each troop with its state and the next step, a line each: number, state, next step, separated by tabs.
# Needs API, UNIT and KEY (deploy/examples/README.md), curl and jq.
set -eu
: "${API:?the address of the server}" "${UNIT:?the id of the unit}" "${KEY:?a key with standings.read}"

cursor=
while :; do
  # The key goes in through standard input, so that nobody sees it among the running processes.
  page=$(printf 'header = "Authorization: Bearer %s"\n' "$KEY" |
    curl --silent --show-error --fail-with-body --config - "$API/v1/units/$UNIT/standings?limit=200${cursor:+&cursor=$cursor}") ||
    { printf '%s\n' "$page" | jq -r '.detail // "The server did not answer."' >&2; exit 1; }
  printf '%s\n' "$page" | jq -r '.items[] | [.number, .state, (.next_step.sentence // "-")] | @tsv'
  cursor=$(printf '%s\n' "$page" | jq -r '.next_cursor // empty')
  [ -n "$cursor" ] || break
done
