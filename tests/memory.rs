//! Heap use of a flight and of the judgement of many flights. One test, as the allocator counts for the whole
//! process.

use aplomb_flight::check::{Pooling, Statistic};
use aplomb_flight::fly;
use aplomb_flight::limit::Limit;
use aplomb_harness::input;
use aplomb_study::judge::{Evidence, Pool};
use peak_alloc::PeakAlloc;

#[global_allocator]
static ALLOCATOR: PeakAlloc = PeakAlloc;

/// Most bytes in use at once in `run`, beyond what was in use before.
fn peak_bytes(run: impl FnOnce()) -> usize {
    let before = ALLOCATOR.current_usage();
    ALLOCATOR.reset_peak_usage();
    run();
    ALLOCATOR.peak_usage().saturating_sub(before)
}

#[test]
fn flight_without_trace_is_small_at_any_length_and_judgement_of_many_flights_is_bounded() {
    const MIB: usize = 1 << 20;
    let craft = input::demo_craft().unwrap().config;
    let controller = input::demo_controller().unwrap();
    let mut plan =
        input::demo_flights().unwrap().into_iter().find(|plan| plan.name == "hold-in-wind").unwrap();
    let mut flight = |duration_s| {
        plan.duration_s = duration_s;
        peak_bytes(|| {
            fly::fly_watched(&craft, &controller, &plan, 1, |_| ()).unwrap();
        })
    };
    let (short, long) = (flight(5.0), flight(60.0));
    let in_place = size_of::<aplomb_craft::Plant>() + size_of::<aplomb::FlightController>();
    println!(
        "a flight without trace: {short} bytes of heap at most, {in_place} bytes of craft and controller"
    );
    assert!(short + in_place < MIB, "{short} {in_place}");
    assert_eq!(long, short, "the heap grows with the flight");
    let traced = peak_bytes(|| {
        fly::fly(&craft, &controller, &plan, 1).unwrap();
    });
    println!("the same with a trace of 60 s: {traced} bytes");
    assert!(traced > MIB, "a trace that takes {traced} bytes was not counted");

    // The samples of a window of 40 s in each flight.
    let evidence = Evidence::Samples((0..10_000).map(|i| f64::from(i) * 1e-3).collect());
    let judged = |flights: usize| {
        peak_bytes(|| {
            let mut pool = Pool::new(Statistic::Share(0.95), Pooling::Pooled, Limit::AtMost(1.0));
            (0..flights).for_each(|_| pool.take(&evidence));
            assert!((pool.figure() / 9.5 - 1.0).abs() < 2e-3);
        })
    };
    let (few, many) = (judged(20), judged(1000));
    println!("judging one check over 1000 flights: {many} bytes");
    assert!(many < MIB && many == few, "{few} {many}");
}
