#!/usr/bin/env bash
# The firmware on an emulated Cortex-M4F: proof that no panic path is left, and what calls, ticks, stack, state and code
# cost. Usage: run.sh [link-proof] [cost] [replay]; without arguments all.
# Installs what is missing: the target's standard library through rustup (or Debian's compiler and its source), and the
# emulator through apt-get.
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

# Every instruction advances the emulated clock by 2^9 ns, 12.8 ticks of the board's 25 MHz timer, so that the timer
# resolves single instructions.
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

# Prints the text and read-only data of a program; fails above the ceiling.
code_bytes() { # NAME GOAL CEILING PROGRAM
    local sections section size=0 note=
    sections=$(readelf -SW "$4" | sed -nE 's/.* \.(text|rodata) +PROGBITS +[0-9a-f]+ [0-9a-f]+ ([0-9a-f]+) .*/\2/p')
    for section in $sections; do size=$((size + 16#$section)); done
    if [ "$size" -gt "$3" ]; then note='  OVER'; elif [ "$size" -gt "$2" ]; then note='  above its goal'; fi
    printf '%-44s %8d %8s %8d%s\n' "$1" "$size" - "$2" "$note"
    [ "$size" -gt 0 ] && [ "$size" -le "$3" ]
}

cost() {
    need qemu-system-arm qemu-system-arm
    local profile over=
    for profile in release small; do
        cargo_bare build --locked --profile "$profile" --bin cost
        echo "Cortex-M4F, profile $profile:"
        emulate "$(firmware "$profile" cost)" || over="$over $profile"
        cargo_bare build --locked --profile "$profile" --bin inner
        emulate "$(firmware "$profile" inner)" || over="$over $profile"
        cargo_bare build --locked --profile "$profile" --bin parts --bin code_tick --bin code_controller
        emulate "$(firmware "$profile" parts)"
        code_bytes 'code of a tick, bytes' 20480 28600 "$(firmware "$profile" code_tick)" || over="$over $profile"
        code_bytes 'code of a controller and its constructors' 20480 67100 \
            "$(firmware "$profile" code_controller)" || over="$over $profile"
    done
    if [ -n "$over" ]; then
        echo "the cost program failed at profile:$over" >&2
        return 1
    fi
}

# A flight recorded on the host, replayed here: every motor command must have the same bits. With one bit of a recorded
# command or gyro sample changed, the replay must fail.
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
