//! The application, tested on the bench of the test kit.
#![cfg(feature = "host")]

use crack_gauge_firmware::host::{Host, Row};
use crack_gauge_firmware::policy::POLICY;
use crack_gauge_firmware::{Board, Node};

const DAWN_S: u32 = 43_200;

fn live(node: &mut Node, board: &mut Host, until_s: u32) {
    while board.now_s() < until_s {
        node.wake(board);
        assert!(board.supply.is_ok(), "the store ran empty");
    }
}

fn sent(rows: &[Row]) -> impl Iterator<Item = &Row> {
    rows.iter().filter(|row| row.event == "transmit")
}

#[test]
fn after_a_dark_night_reports_resume_at_dawn() {
    let mut board = Host::new(4_000);
    let mut node = Node::power_up(&mut board);
    live(&mut node, &mut board, 2 * DAWN_S);

    let parts = POLICY.parts();
    assert!(sent(&board.rows).all(|row| row.storage_mv >= parts.transmit_mv));
    let silent = board
        .rows
        .iter()
        .find(|row| row.event == "wait" && row.storage_mv < parts.transmit_mv)
        .expect("the store runs low");
    let resumed = sent(&board.rows)
        .find(|row| row.time_s > silent.time_s)
        .expect("reports resume");
    assert!(silent.time_s < DAWN_S && resumed.time_s > DAWN_S);
    assert!(resumed.storage_mv >= parts.transmit_mv + parts.hysteresis_mv);
}

#[test]
fn a_report_that_does_not_arrive_keeps_its_samples() {
    let mut board = Host::new(5_000);
    board.is_heard = false;
    let mut node = Node::power_up(&mut board);
    live(&mut node, &mut board, 600);
    assert!(sent(&board.rows).count() > 1);
    assert!(board.rows.iter().all(|row| row.count == 0));
}

#[test]
fn a_power_loss_keeps_the_pace_and_starts_the_silence_anew() {
    let mut board = Host::new(5_000);
    let mut node = Node::power_up(&mut board);
    live(&mut node, &mut board, 600);
    assert_eq!(
        board.rows[1].event, "measure",
        "blank memory: a measurement is due"
    );

    board.bench.power_loss(30);
    board.rows.clear();
    let mut node = Node::power_up(&mut board);
    live(&mut node, &mut board, 3_600);
    assert_eq!(board.rows[1].event, "wait", "the copy knows of the last measurement");
    let first = sent(&board.rows).next().expect("it sends again");
    assert!(first.time_s >= u32::from(POLICY.parts().off_time_s));
}
