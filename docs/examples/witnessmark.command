#!/bin/sh
# Starts the bench page by double-click. Put the folder of your shop here:
SHOP="$HOME/Witnessmark shop"
PATH="$HOME/.local/bin:$PATH"
if ! command -v witnessmark >/dev/null 2>&1; then
  echo "The command witnessmark is not installed. See docs/install.md."
  exit 1
fi
(sleep 5; open "http://127.0.0.1:8740/" 2>/dev/null || xdg-open "http://127.0.0.1:8740/") &
exec witnessmark serve "$SHOP"
