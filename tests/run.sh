#!/bin/sh
# Sets up everything and passes the tests: Debian packages (where root), an environment in .venv, then every check.
# Usage, from a clone: sh tests/run.sh [pytest arguments]
set -eu
cd "$(dirname "$0")/.."

PACKAGES="chromium gcc-avr avr-libc binutils-avr arduino-core-avr simavr libsimavr-dev libelf-dev pkg-config gcc libc6-dev ngspice mosquitto fonts-dejavu-core poppler-utils gcc-arm-none-eabi libnewlib-arm-none-eabi"
# Any node from 18 on, wherever it came from; its packages are fetched by tests/firmware/toolchain.py, once.
command -v node >/dev/null 2>&1 || PACKAGES="$PACKAGES nodejs"
command -v npm >/dev/null 2>&1 || PACKAGES="$PACKAGES npm"

say() { printf '\n== %s\n' "$*"; }

missing_packages() {
    for package in $PACKAGES; do
        dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || printf '%s ' "$package"
    done
}

install_packages() {
    command -v dpkg-query >/dev/null 2>&1 || { echo "This is not Debian or Ubuntu: install by hand: $PACKAGES" >&2; return 0; }
    command -v node >/dev/null 2>&1 && command -v npm >/dev/null 2>&1 || PACKAGES="$PACKAGES nodejs npm"
    missing=$(missing_packages)
    [ -n "$missing" ] || return 0
    if [ "$(id -u)" -ne 0 ]; then
        echo "These packages are missing: $missing" >&2
        echo "Install them (sudo apt-get install $missing) and run this again." >&2
        exit 1
    fi
    say "Installing $missing"
    export DEBIAN_FRONTEND=noninteractive
    apt-get update -qq
    # shellcheck disable=SC2086 # a list of words
    apt-get install -y -qq --no-install-recommends $missing >/dev/null
}

make_environment() {
    for candidate in python3 python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null 2>&1 && "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
            PYTHON=$candidate
            break
        fi
    done
    [ -n "${PYTHON:-}" ] || { echo "Python 3.11 or newer is needed: install it and run this again." >&2; exit 1; }
    if ! "$PYTHON" -m venv .venv 2>/dev/null; then
        [ "$(id -u)" -eq 0 ] || { echo "Install python3-venv and run this again." >&2; exit 1; }
        apt-get update -qq && apt-get install -y -qq python3-venv >/dev/null
        "$PYTHON" -m venv .venv
    fi
    say "Installing Python packages"
    .venv/bin/pip install -q --disable-pip-version-check '.[test]'
}

# Lint and tests of the pages' scripts, and the accessibility rules: once over the network, then from tests/script/node_modules.
install_scripts() {
    [ -x tests/script/node_modules/.bin/eslint ] && [ tests/script/node_modules -nt tests/script/package-lock.json ] && return 0
    say "Installing script tools"
    npm ci --prefix tests/script --silent --no-audit --no-fund
    touch tests/script/node_modules
}

install_packages
make_environment
install_scripts
PATH="$PWD/.venv/bin:$PATH"
export PATH

say "Format";  ruff format --check -q .
say "Lint";    ruff check -q .
say "Types";   mypy
say "Arrows";  lint-imports
say "Audit";   python -m tests.audit
# A worker a core, each with whole files: the servers and browsers of one file never meet those of another worker. The long ones come first.
say "Tests";   exec pytest -n auto --dist loadfile --no-loadscope-reorder "$@"
