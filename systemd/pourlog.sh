#!/bin/sh
# Installed as /usr/local/bin/pourlog: the program's command line, from the release that counts.
release=/opt/pourlog/current
# An environment belongs to one Python. After an upgrade of the system nothing of it is found, and Python says only that.
python=$(readlink -f "$release/bin/python3")
if [ ! -d "$release/lib/${python##*/}" ]; then
  echo "pourlog: this system has another Python since it was upgraded. In the program's folder: sudo bash systemd/install" >&2
  exit 1
fi
exec "$release/bin/pourlog" "$@"
