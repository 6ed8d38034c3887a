//! How long a sweep takes. `cargo bench -p millpond --bench size`.
//!
//! 40 capacitances with five areas, all of which are feasible, a simulated year each; the aim is 30 s on two cores.

use millpond::dividers::series::Series;
use millpond::income::light::Light;
use millpond::node::NodeFile;
use millpond::progress::Unseen;
use millpond::size::{Extent, Sized, SizedSource, Sweep, like};
use millpond::units::*;

fn main() {
    divan::main();
}

#[divan::bench(sample_count = 1, sample_size = 1)]
fn forty_capacitances_five_areas_a_year(bencher: divan::Bencher) {
    let text = millpond_templates::nodes::CRACK_GAUGE;
    let node = NodeFile::parse("crack-gauge", text, "").expect("an example").node;
    let values = Series::E24.between(0.62, 27.0);
    assert_eq!(values.len(), 40);
    let sweep = Sweep {
        parts: values
            .into_iter()
            .map(|capacitance_f| like(&node.storage[0], farads(capacitance_f)))
            .collect(),
        sources: SizedSource::between(
            &node.harvest.source,
            Extent::Area(square_meters(22e-4)),
            Extent::Area(square_meters(100e-4)),
        ),
        light: Light::typical(&node.harvest.source).expect("a source"),
        days: 365.0,
    };
    assert_eq!(sweep.sources.len(), 5);
    bencher.bench_local(|| Sized::of(&node, &sweep, &Unseen));
}
