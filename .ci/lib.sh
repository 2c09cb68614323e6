# shellcheck shell=bash
# Sourced: what .ci/run, .ci/long and examples/cortex-m/run.sh share.

passed=0
current=start
left_out=()

# summary: how the stages ended; set as the trap of EXIT.
summary() {
    local code=$? outcome='0 failed' text
    if [ "$code" -eq 0 ]; then
        printf '\nall stages in %d s\n' "$SECONDS"
    else
        printf '\nfailed in stage: %s (after %d s)\n' "$current" "$SECONDS"
        outcome='1 failed'
    fi
    for text in "${left_out[@]}"; do printf 'LEFT OUT: %s\n' "$text"; done
    printf '%d passed, %s\n' "$passed" "$outcome"
}

# stage TITLE COMMAND...: runs one stage, timed.
stage() {
    current=$1
    shift
    local begin=$SECONDS
    printf '\n=== %s\n' "$current"
    "$@"
    passed=$((passed + 1))
    printf -- '--- %s: %d s\n' "$current" $((SECONDS - begin))
}

# leave_out TEXT: a check that cannot be made on this machine; repeated in the summary.
leave_out() {
    printf 'LEFT OUT: %s\n' "$1"
    left_out+=("$1")
}

# as_root COMMAND...: with sudo where we are not root already.
as_root() {
    if [ "$(id -u)" -eq 0 ]; then "$@"; else sudo "$@"; fi
}

# install PACKAGE...: installs Debian packages.
install() {
    if ! command -v apt-get >/dev/null; then
        echo "there is no apt-get to install $*: install it by hand" >&2
        return 1
    fi
    if [ -z "${apt_updated:-}" ]; then
        as_root apt-get update -qq
        apt_updated=yes
    fi
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$@"
}

# need COMMAND PACKAGE...: installs the Debian packages when the command is absent.
need() {
    local command=$1
    shift
    if command -v "$command" >/dev/null; then return; fi
    install "$@"
    command -v "$command" >/dev/null
}

# choose_bare_toolchain: the standard library for the microcontroller from rustup; where rustup cannot have it, built
# from source with Debian's compiler. APLOMB_BARE_STD=rustup or =source forces one of the two.
choose_bare_toolchain() {
    case ${APLOMB_BARE_STD:-} in
        '' | rustup | source) ;;
        *) echo "APLOMB_BARE_STD is 'rustup' or 'source', not '$APLOMB_BARE_STD'" >&2; return 1 ;;
    esac
    bare_std=source
    if [ "${APLOMB_BARE_STD:-rustup}" = rustup ] && command -v rustup >/dev/null &&
        rustup target add thumbv7em-none-eabihf thumbv7em-none-eabi wasm32-unknown-unknown; then
        bare_std=rustup
    elif [ "${APLOMB_BARE_STD:-}" = rustup ]; then
        echo "rustup cannot add the target" >&2
        return 1
    else
        if ! dpkg -s rustc-web cargo-web rust-web-src libstd-rust-web-dev >/dev/null 2>&1; then
            as_root apt-get update -qq
            as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends \
                rustc-web cargo-web rust-web-src libstd-rust-web-dev
        fi
        # Debian's compiler comes without the linker of the target; the toolchain's own has it.
        local host
        host=$(rustc -vV | sed -n 's/^host: //p')
        bare_linker_dir=$(rustc --print sysroot)/lib/rustlib/$host/bin
        bare_rustc=$(dpkg -L rustc-web | sed -n '\|^/usr/bin/rustc$|p')
        bare_cargo=$(dpkg -L cargo-web | sed -n '\|^/usr/bin/cargo$|p')
    fi
    echo "standard library of the target: from $bare_std"
}

# cargo_bare COMMAND ARGUMENT...: cargo for the microcontroller, after choose_bare_toolchain. The target is
# thumbv7em-none-eabihf or BARE_TARGET. Builds have their own folder.
cargo_bare() {
    local command=$1 target=${BARE_TARGET:-thumbv7em-none-eabihf}
    shift
    if [ "$bare_std" = rustup ]; then
        CARGO_TARGET_DIR=$bare_target_dir cargo "$command" --target "$target" "$@"
    else
        CARGO_TARGET_DIR=$bare_target_dir RUSTC=$bare_rustc RUSTC_BOOTSTRAP=1 PATH=$bare_linker_dir:$PATH \
            "$bare_cargo" "$command" -Zbuild-std=core --target "$target" "$@"
    fi
}
