#!/usr/bin/env bash
# What the tests need beside Python packages: a browser for the pages, PostgreSQL for the queue.
# On Debian as root it is installed here; elsewhere it is named with the command that installs it.
set -euo pipefail
missing=()
command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1 \
    || [ -n "${TAPOFF_CHROMIUM:-}" ] || missing+=(chromium)
compgen -G "/usr/lib/postgresql/*/bin/initdb" >/dev/null || command -v initdb >/dev/null 2>&1 || missing+=(postgresql)
[ ${#missing[@]} -eq 0 ] && exit 0
if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
    echo "Installing for the tests: ${missing[*]}"
    apt-get update -qq
    DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null
    exit 0
fi
echo "The tests need ${missing[*]}. On Debian or Ubuntu: sudo apt-get install ${missing[*]}" >&2
exit 1
