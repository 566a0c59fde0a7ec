#!/usr/bin/env bash
# Times one run of each everyday command on a ledger (the demo's): benches/commands.sh PROGRAM LEDGER
# The mean of 20 runs in milliseconds, process start included. Goals: --version under 10 ms, the rest under 50 ms.
set -euo pipefail
program=$1 ledger=$2
export GRITLEDGER_TODAY=2026-03-02

time_of() {
  local begin end
  begin=$(date +%s%N)
  for _ in $(seq 20); do "$program" "$@" > /dev/null 2>&1; done
  end=$(date +%s%N)
  awk -v ns=$((end - begin)) -v what="$*" 'BEGIN { printf "%8.1f ms  %s\n", ns / 20 / 1e6, what }'
}

time_of --version
on=(--ledger "$ledger")
time_of "${on[@]}" today
time_of "${on[@]}" job list
time_of "${on[@]}" job show J1
time_of "${on[@]}" quote show Q1
time_of "${on[@]}" quote list
time_of "${on[@]}" report margin
time_of "${on[@]}" report margin --by month
time_of "${on[@]}" report variance J1
time_of "${on[@]}" report consumables
time_of "${on[@]}" report rentals
time_of "${on[@]}" rate list
time_of "${on[@]}" stock list
time_of "${on[@]}" invoice list
time_of "${on[@]}" export usage
time_of "${on[@]}" check
