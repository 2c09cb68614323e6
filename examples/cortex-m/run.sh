#!/usr/bin/env bash
# Usage: run.sh [link-proof] [cost] [replay]; without arguments all three.
#
# Firmware for an emulated Cortex-M4F.
#   link-proof  a program that calls every public function links, although its panic handler does not exist
#   cost        instructions, stack, state and code size; fails when the worst tick takes more than 10,000
#               instructions (6 % of a 168 MHz core at 1 kHz), the state more than 16 KiB or the stack more
#               than 4 KiB; everything else is a record
#   replay      every motor command of a flight recorded on the host has the same bits
# Each step has a twin that must fail.
#
# Installs what is missing: the target's standard library through rustup (or Debian's compiler and its
# source), and the emulator through apt-get.
set -euo pipefail
here=$(cd "$(dirname "${BASH_SOURCE[0]}")" && pwd)
# shellcheck source=../../.ci/lib.sh
. "$here/../../.ci/lib.sh"
bare_target_dir=${CARGO_TARGET_DIR:-$here/../../target}/bare-metal
cd "$here"

firmware() { # PROFILE PROGRAM
    local folder=$1
    echo "$bare_target_dir/${BARE_TARGET:-thumbv7em-none-eabihf}/$folder/$2"
}

# Every instruction advances the emulated clock by 2^9 ns, 12.8 ticks of the board's 25 MHz timer, so that the
# timer resolves single instructions.
emulate() { # PROGRAM
    timeout 300 qemu-system-arm -machine mps2-an386 -cpu cortex-m4 -nographic \
        -semihosting-config enable=on,target=native -icount shift=9 -kernel "$1" </dev/null
}

# A program whose panic handler calls an undefined symbol links: so no panic path is left. Its twin, which
# indexes a table at run time, must fail for just that symbol.
link_proof() {
    local profile log="$bare_target_dir/link_proof_twin.log"
    for profile in release small; do
        cargo_bare build --locked --profile "$profile" --bin link_proof
        if cargo_bare build --locked --profile "$profile" --bin link_proof_twin --features panicking-twin 2>"$log"; then
            echo "the twin with a panic path linked ($profile): the proof proves nothing" >&2
            return 1
        fi
        if ! grep -q 'undefined symbol: a_panic_path_is_left' "$log"; then
            cat "$log" >&2
            return 1
        fi
        echo "link proof holds at profile $profile, and its twin fails to link"
    done
}

# Prints the text and read-only data of a program.
code_bytes() { # NAME PROGRAM
    local sections section size=0
    sections=$(readelf -SW "$2" | sed -nE 's/.* \.(text|rodata) +PROGBITS +[0-9a-f]+ [0-9a-f]+ ([0-9a-f]+) .*/\2/p')
    for section in $sections; do size=$((size + 16#$section)); done
    [ "$size" -gt 0 ]
    printf '%-44s %9s %9d\n' "$1" '' "$size"
}

# Holds the worst figure of a row of a cost table against its limit. A row that is missing fails.
gate() { # TABLE ROW LIMIT
    awk -v row="$2" -v limit="$3" '
        index($0, row " ") == 1 { found = 1; worst = $NF; within = worst ~ /^[0-9]+$/ && worst + 0 <= limit }
        END { printf "gate: %s: %s of at most %d: %s\n", row, found ? worst : "missing", limit, within ? "pass" : "fail"
              exit !within }' "$1"
}

# The gate of the cost, then its twins: at a limit one below the figure itself, and for a row that is not
# there, it must fail.
gates() { # TABLE
    local row limit failed=0 worst
    while IFS='|' read -r row limit; do
        gate "$1" "$row" "$limit" || failed=1
        worst=$(awk -v row="$row" 'index($0, row " ") == 1 { print $NF }' "$1")
        if gate "$1" "$row" $((worst - 1)) >/dev/null || gate "$1" "no $row" "$limit" >/dev/null; then
            echo "the gate of '$row' passes an excess or a missing row: it proves nothing" >&2
            return 1
        fi
    done <<'ROWS'
tick, Libm: instructions|10000
state of the controller, bytes|16384
stack of a tick, bytes|4096
ROWS
    [ "$failed" -eq 0 ]
}

# The gate is for opt-level 3; at opt-level s the table is a record.
cost() {
    need qemu-system-arm qemu-system-arm
    need readelf binutils
    local profile table
    for profile in release small; do
        cargo_bare build --locked --profile "$profile" --bin tick --bin parts --bin code_size
        table=$bare_target_dir/cost-$profile.txt
        printf '\nCortex-M4F, opt-level %s\n' "$([ "$profile" = release ] && echo 3 || echo s)"
        {
            emulate "$(firmware "$profile" tick)"
            code_bytes 'code, constructors included, bytes' "$(firmware "$profile" code_size)"
            emulate "$(firmware "$profile" parts)"
        } | tee "$table"
    done
    printf '\n'
    gates "$bare_target_dir/cost-release.txt"
}

# A flight recorded on the host, replayed here: every motor command must have the same bits. With one bit of a
# recorded command or gyro sample changed, the replay must fail.
replay() {
    need qemu-system-arm qemu-system-arm
    local folder=$bare_target_dir/replay profile program twin
    (cd ../.. && cargo run -q --locked --example record_flight -- examples/cortex-m/replay.toml "$folder")
    for profile in release small; do
        APLOMB_CONTROLLER=$folder/controller.rs \
            cargo_bare build --locked --profile "$profile" --bin replay --features replay
        program=$(firmware "$profile" replay)
        (cd "$folder" && emulate "$program")
    done
    for twin in answer sample; do
        if (cd "$folder/changed-$twin" && emulate "$program") >"$folder/twin.log"; then
            echo "the replay of a recording with one bit changed ($twin) held: it proves nothing" >&2
            return 1
        fi
        grep '^tick' "$folder/twin.log"
        echo "so it must be: one bit of the recording was changed ($twin)"
    done
}

if [ "${1:-}" = --help ]; then
    sed -n '2,/^set /s/^# \{0,1\}//p' "${BASH_SOURCE[0]}"
    exit
fi
choose_bare_toolchain
for step in "${@:-link-proof cost replay}"; do
    for name in $step; do
        case $name in
            link-proof) link_proof ;;
            cost) cost ;;
            replay) replay ;;
            *) echo "unknown step '$name': link-proof, cost or replay" >&2; exit 2 ;;
        esac
    done
done
