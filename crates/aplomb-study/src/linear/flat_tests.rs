use super::*;
use aplomb::flight::{Airframe, Config};
use aplomb::mix::Geometry;
use aplomb::{Command, FlightController, ImuSample, Sensors, Spin, frames::Vector};

#[test]
fn state_of_the_controller_goes_through_flat_lists_unchanged_and_has_names() {
    let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
    let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5)).unwrap();
    let mut controller: FlightController = FlightController::new(&config).unwrap();
    let imu = ImuSample::from_rates(Vector::new(0.1, 0.0, 0.0), Vector::new(0.0, 0.3, -9.8), 1e-3);
    for _ in 0..100 {
        controller.step(&Sensors::from_imu(imu), &Command::IDLE);
    }
    let saved = controller.save();
    let mut flat = Flat::of(&saved).unwrap();
    let names = Flat::names(&saved).unwrap();
    assert_eq!(names.len(), flat.numbers.len());
    assert_eq!(flat.value::<aplomb::flight::ControllerState>().unwrap(), saved);
    let attitude = names.iter().position(|name| name == "record.estimate.attitude.1").unwrap();
    // A moved component of an attitude is normalised.
    flat.numbers[attitude] += 0.01;
    let moved: aplomb::flight::ControllerState = flat.value().unwrap();
    assert!(moved != saved);
    flat.discrete.pop();
    assert!(flat.value::<aplomb::flight::ControllerState>().is_err());
}
