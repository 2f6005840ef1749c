#!/bin/sh
# setup.sh [build] [readers]: makes sure that this machine has what they need.
#
# build:   cmake, a C++ compiler, sqlite3 with its headers, pkg-config (PROJ is built from source)
# readers: Python 3.10 or later with venv, Node 16 or later with npm, xmllint; then the pinned
#          packages, in .venv and tests/outside/node/node_modules
#
# Looks first, installs only what is missing, with the system's own package manager, and says so.
set -eu
cd "$(dirname "$0")/.."

say() { printf 'setup: %s\n' "$*"; }
have() { command -v "$1" >/dev/null 2>&1; }
die() { say "$*" >&2; exit 1; }

manager() {
    for candidate in apt-get dnf pacman zypper apk brew; do
        if have "$candidate"; then echo "$candidate"; return; fi
    done
}

# The names that the need has with each package manager: apt-get dnf pacman zypper apk brew.
package() {
    case "$1" in
        cmake)      set -- cmake cmake cmake cmake cmake cmake ;;
        compiler)   set -- g++ gcc-c++ gcc gcc-c++ g++ gcc ;;
        sqlite)     set -- "sqlite3 libsqlite3-dev" "sqlite sqlite-devel" sqlite "sqlite3 sqlite3-devel" "sqlite sqlite-dev" sqlite ;;
        pkgconfig)  set -- pkg-config pkgconf-pkg-config pkgconf pkg-config pkgconf pkgconf ;;
        python)     set -- "python3 python3-venv" "python3.12" python python312 "python3 py3-pip" python@3.12 ;;
        node)       set -- "nodejs npm" "nodejs npm" "nodejs npm" "nodejs20 npm20" "nodejs npm" node ;;
        xmllint)    set -- libxml2-utils libxml2 libxml2 libxml2-tools libxml2-utils libxml2 ;;
    esac
    case "$(manager)" in
        apt-get) echo "$1" ;; dnf) echo "$2" ;; pacman) echo "$3" ;;
        zypper) echo "$4" ;; apk) echo "$5" ;; brew) echo "$6" ;;
    esac
}

as_root() {
    if [ "$(id -u)" = 0 ]; then "$@"; elif have sudo; then sudo "$@"; else
        die "root or sudo is needed for: $*"; fi
}

install() {
    case "$(manager)" in
        apt-get) as_root env DEBIAN_FRONTEND=noninteractive apt-get update -qq </dev/null || say "apt-get update failed; going on with the lists that are there"
                 as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@" </dev/null ;;
        dnf)     as_root dnf install -y -q "$@" </dev/null ;;
        pacman)  as_root pacman -S --needed --noconfirm "$@" </dev/null ;;
        zypper)  as_root zypper --non-interactive --quiet install "$@" </dev/null ;;
        apk)     as_root apk add --quiet "$@" </dev/null ;;
        brew)    brew install --quiet "$@" </dev/null ;;
        *)       die "no package manager that this script knows; please install by hand: $*" ;;
    esac
}

has_cmake() { have cmake; }
has_compiler() { have c++ || have g++ || have clang++; }
has_pkgconfig() { have pkg-config || have pkgconf; }
has_sqlite() {
    have sqlite3 && { pkg-config --exists sqlite3 2>/dev/null || [ "$(uname)" = Darwin ] || [ -e /usr/include/sqlite3.h ]; }
}
has_xmllint() { have xmllint; }
has_node() {
    have npm && have node && node -e 'process.exit(+process.versions.node.split(".")[0] >= 16 ? 0 : 1)'
}
python() {
    for candidate in python3 python3.14 python3.13 python3.12 python3.11 python3.10; do
        if have "$candidate" && "$candidate" -c 'import sys, venv, ensurepip; sys.exit(not (3, 10) <= sys.version_info[:2] <= (3, 14))' 2>/dev/null
        then echo "$candidate"; return 0; fi
    done
    return 1
}
has_python() { [ -x .venv/bin/python ] || python >/dev/null; }

need() {
    missing=""
    for thing in "$@"; do
        if ! "has_$thing"; then missing="$missing $(package "$thing")"; say "$thing: missing"; fi
    done
    if [ -n "$missing" ]; then
        say "installing with $(manager):$missing"
        # shellcheck disable=SC2086  # several words on purpose
        install $missing
        for thing in "$@"; do
            "has_$thing" || die "$thing is still missing after installing$missing; please install it by hand"
        done
    fi
}

reader_packages() {
    wanted="$(cksum < tests/outside/requirements.txt)"
    if [ ! -x .venv/bin/python ] || [ "$(cat .venv/wanted 2>/dev/null)" != "$wanted" ]; then
        say "Python packages of tests/outside/requirements.txt into .venv"
        [ -x .venv/bin/python ] || "$(python)" -m venv .venv
        .venv/bin/python -m pip install --quiet --disable-pip-version-check --only-binary=:all: -r tests/outside/requirements.txt </dev/null
        echo "$wanted" > .venv/wanted
    fi
    wanted="$(cksum < tests/outside/node/package-lock.json)"
    if [ "$(cat tests/outside/node/node_modules/wanted 2>/dev/null)" != "$wanted" ]; then
        say "Node packages of tests/outside/node/package-lock.json"
        (cd tests/outside/node && npm ci --silent --no-audit --no-fund </dev/null)
        echo "$wanted" > tests/outside/node/node_modules/wanted
    fi
}

have cargo || die "a Rust toolchain is needed: cargo is not on the PATH"
for part in "$@"; do
    case "$part" in
        build) need cmake compiler pkgconfig sqlite ;;
        readers) need python node xmllint; reader_packages ;;
        *) die "unknown part: $part (build, readers)" ;;
    esac
done
