//! Two days of the node on the host. On a chip, this file starts the clocks and calls `wake` for ever.

use crack_gauge_firmware::host::Host;
use crack_gauge_firmware::{Board, Node};
use millpond_policy::testkit::BrownOut;

const START_MV: u16 = 4_000;
const END_S: u32 = 2 * 86_400;

fn main() -> Result<(), BrownOut> {
    let mut board = Host::new(START_MV);
    let mut node = Node::power_up(&mut board);
    while board.now_s() < END_S && board.supply.is_ok() {
        node.wake(&mut board);
    }
    println!("time_s,storage_mv,count,event");
    for row in &board.rows {
        println!("{},{},{},{}", row.time_s, row.storage_mv, row.count, row.event);
    }
    board.supply
}
