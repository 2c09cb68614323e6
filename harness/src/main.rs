//! The program `aplomb`: see [`aplomb_harness::cli`].

fn main() -> std::process::ExitCode {
    aplomb_harness::cli::main()
}
