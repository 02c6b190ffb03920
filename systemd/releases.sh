# shellcheck shell=bash disable=SC2154
# Read by `install`: the program as releases beside each other, of which one counts.
#
#   /opt/pourlog/releases/VERSION-PYTHON-SUM   one environment each, with the units that belong to it
#   /opt/pourlog/current                       a link to the one that counts; units and commands go through it
#   /opt/pourlog/previous                      a link to the one before it, to go back to
#
# A release is made beside the others, proven, and then made the current one by renaming a link: whatever goes wrong
# before, and a power cut at any moment, leave the program that runs as it is.

# The name of what this checkout and this Python make: other contents, or another Python, are another release.
release_id() {
  local version sum
  version=$(sed -n 's/^version = "\(.*\)"/\1/p' "$checkout/pyproject.toml" | head -n 1)
  sum=$(cd "$checkout" && find pyproject.toml systemd hardware logger web -type f -not -path '*/__pycache__/*' -print0 |
    LC_ALL=C sort -z | xargs -0 sha256sum | sha256sum | cut -c 1-12)
  printf '%s-%s-%s' "$version" "$(python_tag)" "$sum"
}

# This system's Python, as environments name it.
python_tag() { python3 -c 'import sys; print("python%d.%d" % sys.version_info[:2])'; }

# make_release NAME: an environment with the program and every package as locked.
make_release() {
  local release=$opt/releases/$1 source pip
  rm -rf "$release"
  install -d -m 0755 "$opt/releases"
  # On the disk: where /tmp is in memory, a small Pi has no room for what is unpacked.
  rm -rf "$opt/releases/.work"
  install -d -m 0700 "$opt/releases/.work"
  source=$opt/releases/.work/source
  install -d "$source"
  python3 -m venv "$release"
  pip=(env "TMPDIR=$opt/releases/.work" "$release/bin/python" -m pip --quiet --disable-pip-version-check --no-input
    --no-cache-dir install)
  # What is installed is what was locked, file by file, wherever it comes from.
  "${pip[@]}" --only-binary=:all: --require-hashes -r "$here/requirements.lock" \
    ${wheels:+--no-index --find-links "$wheels"}
  # Built from a copy: building in place would leave folders behind in the checkout. Never "already installed": a
  # release is new.
  cp -R "$checkout/pyproject.toml" "$checkout/README.md" "$checkout/hardware" "$checkout/logger" "$checkout/web" "$source/"
  "${pip[@]}" --no-deps --no-index --no-build-isolation "$source"
  install -d -m 0755 "$release/units"
  install -m 0644 "$here"/*.service "$here"/*.timer "$release/units/"
  rm -rf "$opt/releases/.work"
}

# release_works NAME: its libraries, arithmetic, and what it makes of this machine's files, as the users who will run it.
release_works() {
  local program=$opt/releases/$1/bin/pourlog
  [ -x "$program" ] || return 1
  if [ -n "$root" ]; then
    "$program" self-test
    return
  fi
  if [ -n "$service" ]; then
    as pourlog "$program" self-test ${settings_there:+--settings /etc/pourlog/service.toml} || return 1
  fi
  if [ -n "$station" ]; then
    as pourlog-station "$program" self-test ${station_there:+--station /etc/pourlog/station.toml} || return 1
  fi
}

# own_database: the service has a database of its own here, with something in it.
own_database() {
  local folder
  [ -n "$settings_there" ] && ! grep -q '^ *database_url' /etc/pourlog/service.toml || return 1
  folder=$(sed -n 's/^ *data_dir *= *"\(.*\)".*/\1/p' /etc/pourlog/service.toml | head -n 1)
  [ -s "${folder:-/var/lib/pourlog}/pourlog.sqlite3" ]
}

# as USER COMMAND…: in a folder that everybody may be in.
as() { (cd / && exec runuser -u "$1" -- "${@:2}"); }

# point LINK TARGET: in one step, so that there is always one.
point() {
  ln -sfn "$2" "$opt/$1.new"
  mv -T "$opt/$1.new" "$opt/$1"
}

# release_of LINK: the name of the release that a link points to; nothing where there is none.
release_of() { [ ! -L "$opt/$1" ] || basename "$(readlink "$opt/$1")"; }

# switch_to NAME: make a release the current one.
switch_to() {
  local now
  now=$(release_of current)
  [ "$now" = "$1" ] && return
  [ -z "$now" ] || point previous "releases/$now"
  point current "releases/$1"
}

# put_units NAME: the units that belong to a release, of those that are wanted here.
put_units() {
  local unit
  for unit in "${units[@]}"; do
    install -D -m 0644 "$opt/releases/$1/units/$unit" "$root/etc/systemd/system/$unit"
  done
}

# start_units: all that were enabled, anew. 0: they run.
start_units() {
  [ -z "$root" ] && [ -d /run/systemd/system ] || return 0
  systemctl daemon-reload
  local unit now=() later=()
  for unit in "${enabled[@]}"; do
    # A station without its file waits for a probe, which may hang there only after the restart: nobody waits for it.
    if [ "$unit" = pourlog-station.service ] && [ ! -f "$root/etc/pourlog/station.toml" ]; then
      later+=("$unit")
    else
      now+=("$unit")
    fi
  done
  if [ ${#now[@]} -gt 0 ]; then systemctl restart "${now[@]}" || return 1; fi
  if [ ${#later[@]} -gt 0 ]; then systemctl --no-block restart "${later[@]}"; fi
}

# remove_old_releases: all but the current one and the one before it.
remove_old_releases() {
  local release name
  for release in "$opt"/releases/*/; do
    name=$(basename "$release")
    [ "$name" = "$(release_of current)" ] || [ "$name" = "$(release_of previous)" ] || rm -rf "$release"
  done
}

# undo_update: after an update that did not come to run, the program before it runs again.
undo_update() {
  trap - EXIT
  say "The update is undone: $before counts again." >&2
  point current "releases/$before"
  if [ -n "$earlier" ]; then point previous "releases/$earlier"; else rm -f "$opt/previous"; fi
  [ ! -d "$opt/releases/$before/units" ] || put_units "$before"
  start_units || restore_says "/opt/pourlog/releases/$before" "$opt/releases/$release" >&2
  rm -rf "${opt:?}/releases/$release"
}

# restore_says PROGRAM NEWER: how the database is brought back to what PROGRAM knows, where the newer one has changed it.
restore_says() {
  local backup=''
  [ ! -s "$2/backup-before" ] || backup=$(head -n 1 "$2/backup-before")
  say "A database that is newer than the earlier program knows goes back with the backup from before the update. What has"
  say "come since then stays beside it, and is not seen:"
  say "    sudo systemctl stop pourlog-service"
  say "    sudo -u pourlog $1/bin/pourlog restore ${backup:-/var/lib/pourlog/backups/…} /etc/pourlog/service.toml"
  say "    sudo bash systemd/install --back"
}

# go_back: the release before this one counts again, with its units.
go_back() {
  local now before
  now=$(release_of current) before=$(release_of previous)
  [ -n "$before" ] && [ "$before" != "$now" ] || refuse "there is no earlier program to go back to"
  say "Going back from $now to $before."
  if ! told=$(release_works "$before" 2>&1); then
    say "$told" >&2
    say "The earlier program does not work here: nothing was changed."
    [ -d "$opt/releases/$before/lib/$(python_tag)" ] ||
      say "It was made for another Python than this system has now ($(python_tag)): it cannot run here any more."
    [[ $told != *UnknownSchema* ]] || restore_says "/opt/pourlog/releases/$before" "$opt/releases/$now"
    exit 1
  fi
  point current "releases/$before"
  point previous "releases/$now"
  put_units "$before"
  start_units || refuse "it does not start: sudo journalctl -u pourlog-service -u pourlog-station -n 50"
  say "Back: $before counts. Forward again: sudo bash systemd/install --back"
}
