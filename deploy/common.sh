# Shared by demo, test and measure: find Python, make the virtual environment, fill it.
# Sourced, not run. Everything happens in the project's own folder.

say() { printf '%s\n' "$*"; }
stop() { printf '%s\n' "$*" >&2; exit 1; }

# The first Python that the pinned requirements are made for, with what venv needs.
find_python() {
  local name found=""
  for name in ${PYTHON:-python3.11 python3.12 python3 python}; do
    command -v "$name" >/dev/null 2>&1 || continue
    "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info < (3, 13))' 2>/dev/null ||
      { found="$found $("$name" -V 2>/dev/null || true)"; continue; }
    if "$name" -c 'import ensurepip, venv' 2>/dev/null; then
      command -v "$name"
      return
    fi
    stop "$name has no module to make virtual environments with." \
      "On Debian or Ubuntu: apt-get install python3-venv. Then start this again."
  done
  stop "Python 3.11 or 3.12 is needed, and was not found${found:+ (found:$found)}." \
    "On Debian 12: apt-get install python3 python3-venv. Or name it: PYTHON=/path/to/python3.11 $0"
}

# fill_environment REQUIREMENTS...: install the first file. Those named after it are parts of it
# and count as installed with it. Does nothing when the same file was installed before. With
# COMPILE_LATER set, compile_packages is left to the caller.
fill_environment() {
  local wanted=$1 stamps=.venv/installed part sum
  sum=$(digest "$wanted")
  if [ -x .venv/bin/python ] && grep -qsx "$sum" "$stamps" && .venv/bin/python -c '' 2>/dev/null; then
    return
  fi
  local python
  python=$(find_python) || exit 1
  if ! .venv/bin/python -c '' 2>/dev/null; then
    say "Making the virtual environment .venv with $("$python" -V)."
    "$python" -m venv --clear .venv
  fi
  rm -f "$stamps"
  say "Installing $wanted into .venv (a few minutes the first time; about 1 GB)."
  .venv/bin/python -m pip --disable-pip-version-check --no-input install -qq \
    --require-hashes --no-deps --no-compile --only-binary :all: --requirement "$wanted" ||
    stop "The packages of $wanted could not be installed; the lines above say why." \
      "The network or the disk may be at fault. Nothing outside .venv was changed; start this again."
  [ -n "${COMPILE_LATER:-}" ] || compile_packages
  .venv/bin/python -m pip --disable-pip-version-check check >/dev/null ||
    stop "The packages of $wanted do not fit together; run: .venv/bin/python -m pip check"
  for part in "$@"; do digest "$part"; done >"$stamps"
}

# As pip would, but on all cores, and without the packages' own tests. What does not compile (some
# packages bring templates of Python files) matters to nobody.
compile_packages() {
  .venv/bin/python -m compileall -q -q -j 0 -x '/tests?/' .venv/lib/python3.*/site-packages || true
}

digest() { sha256sum <"$1" | cut -d" " -f1; }
