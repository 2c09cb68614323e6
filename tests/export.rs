//! An exported controller flies bit for bit as its file.

use std::path::Path;
use std::process::Command;

use aplomb::parameters;
use aplomb_flight::fly;
use aplomb_harness::{export, input};

fn digest(config: &aplomb::flight::Config) -> u64 {
    let craft = input::demo_craft().unwrap().config;
    let plans = input::demo_flights().unwrap();
    let plan = plans.iter().find(|plan| plan.name == "torque-push").unwrap();
    fly::fly(&craft, config, plan, 1).unwrap().digest
}

#[test]
fn block_flies_as_the_file_and_another_gain_does_not() {
    let config = input::demo_controller().unwrap();
    let mut back = parameters::read(&parameters::write(&config)).unwrap();
    assert_eq!(digest(&back), digest(&config));
    back.rate.roll.crossover_rad_s = f32::from_bits(back.rate.roll.crossover_rad_s.to_bits() + 1);
    assert_ne!(digest(&back), digest(&config));
}

/// The exported text in its own `no_std` crate, whose program returns the constant as a block.
#[test]
fn constant_compiles_and_keeps_every_bit_of_the_file() {
    let config = input::demo_controller().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let package = Path::new(env!("CARGO_TARGET_TMPDIR")).join("exported-constant");
    let write = |name: &str, text: &str| {
        let path = package.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, text).unwrap();
    };
    write(
        "Cargo.toml",
        &format!(
            "[workspace]\n[package]\nname = \"exported-constant\"\nedition = \"2024\"\n\
             [dependencies]\naplomb = {{ path = {:?} }}\n",
            root.join("crates/aplomb")
        ),
    );
    // The same releases of the dependencies, which are available offline.
    write("Cargo.lock", &std::fs::read_to_string(root.join("Cargo.lock")).unwrap());
    write("src/controller.rs", &export::constant(&config, "the demo's\ncontroller"));
    write("src/lib.rs", "#![no_std]\n#![deny(warnings)]\ninclude!(\"controller.rs\");\n");
    write(
        "src/main.rs",
        "use std::io::Write;\n\
         fn main() -> std::io::Result<()> {\n    \
             std::io::stdout().write_all(&aplomb::parameters::write(&exported_constant::CONTROLLER))\n}\n",
    );
    let run = Command::new(env!("CARGO"))
        .args(["run", "--quiet", "--offline", "--target-dir"])
        .arg(package.join("target"))
        .current_dir(&package)
        .output()
        .unwrap();
    assert!(run.status.success(), "{}", String::from_utf8_lossy(&run.stderr));
    assert_eq!(run.stdout, parameters::write(&config));
}
