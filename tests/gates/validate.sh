#!/bin/bash
# Checks openapi/openapi.json from the outside.
#   tests/gates/validate.sh         by openapi-spec-validator (PyPI), against the OpenAPI 3.1 meta-schema
#   tests/gates/validate.sh lint    also by spectral and redocly (npm), no error and no warning allowed; needs Node 20 or later; .ci/spec calls it
# The tools go to a cache folder outside the clone (CASELOT_TOOLS, by default ~/.cache/caselot/tools), so a second run needs
# no network. Another file can be named last: tests/gates/validate.sh lint /tmp/other.json
set -euo pipefail
here=$(cd "$(dirname "$0")/../.." && pwd)
lint=; if [ "${1:-}" = lint ]; then lint=yes; shift; fi
file=$(realpath "${1:-$here/openapi/openapi.json}")
tools=${CASELOT_TOOLS:-${XDG_CACHE_HOME:-$HOME/.cache}/caselot/tools}
mkdir -p "$tools"

validator=$tools/validator-0.9.0
if ! [ -x "$validator/bin/openapi-spec-validator" ]; then
  if ! python3 -m venv "$validator"; then
    rm -rf "$validator"
    echo "validate.sh: python3 with its venv module is needed (Debian and Ubuntu: apt-get install python3-venv)" >&2
    exit 1
  fi
  "$validator/bin/pip" install --quiet --disable-pip-version-check openapi-spec-validator==0.9.0
fi
"$validator/bin/openapi-spec-validator" "$file"

[ -n "$lint" ] || exit 0
linters=$tools/linters-1
if ! [ -x "$linters/node_modules/.bin/redocly" ]; then
  mkdir -p "$linters"
  npm install --prefix "$linters" --no-audit --no-fund --silent @stoplight/spectral-cli@6.16.3 @redocly/cli@2.77.0
fi
"$linters/node_modules/.bin/spectral" lint --fail-severity warn --ruleset "$here/openapi/spectral.yaml" "$file"
"$linters/node_modules/.bin/redocly" lint --config "$here/openapi/redocly.yaml" "$file"
