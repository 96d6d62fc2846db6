# Sourced by the scripts beside it: finds Python, makes .venv from a lock file, reads the environment file.
set -eu
ROOT=$(cd "$(dirname "$0")/.." && pwd)
cd "$ROOT"

fail() { echo "herdplan: $*" >&2; exit 1; }

find_python() {
  for name in ${HERDPLAN_PYTHON:-} python3.13 python3.12 python3.11 python3 python; do
    if command -v "$name" >/dev/null 2>&1 &&
      "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 13))' 2>/dev/null; then
      echo "$name"
      return
    fi
  done
  fail "Python 3.11, 3.12 or 3.13 is needed. Install one of them, or set HERDPLAN_PYTHON to it."
}

# make_environment LOCK: .venv with exactly what the lock file says; nothing is done when it has that already.
make_environment() {
  stamp=".venv/lock-$(basename "$1")"
  if [ -x .venv/bin/python ] && cmp -s "$1" "$stamp" 2>/dev/null; then return; fi
  python=$(find_python)
  if [ ! -x .venv/bin/python ]; then
    echo "Making the Python environment ..." >&2
    "$python" -m venv .venv ||
      fail "Python's venv module is missing. On Debian: apt-get install python3-venv. Then run this again."
  fi
  echo "Installing the packages of $1 ..." >&2
  .venv/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes -r "$1" ||
    fail "The packages could not be installed; is the network there? Run this again when it is."
  cp "$1" "$stamp"
}

# Settings kept in a file; the real environment wins over it.
read_settings() {
  for file in deploy/env .env; do
    [ -f "$file" ] || continue
    while IFS='=' read -r name value; do
      case "$name" in
        ''|\#*) continue ;;
        HERDPLAN_*) eval "[ -n \"\${$name+set}\" ]" || export "$name=$value" ;;
      esac
    done < "$file"
  done
}
