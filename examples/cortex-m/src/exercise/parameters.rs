use core::hint::black_box;

use aplomb::parameters;

use super::any;

pub fn all() {
    let bytes = black_box([black_box(7); parameters::SIZE]);
    let length: usize = black_box(parameters::SIZE);
    match parameters::read(bytes.get(..length).unwrap_or(&[])) {
        Ok(mut config) => {
            config.idle_command = any();
            black_box(parameters::write(&config));
        }
        Err(error) => {
            black_box(error);
        }
    }
}
