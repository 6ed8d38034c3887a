//! Runs an image: on this machine, under simavr, or under QEMU.

use std::process::Command;

use super::ChipsError;
use super::compile::{Tools, call};
use super::image::Image;
use super::target::Machine;
use super::transcript::Transcript;

/// Runs longer than this are hung (s): the full stream takes a minute on a slow machine.
const LONGEST_RUN_S: &str = "900";

/// Runs the stream in `image` and reads what it prints.
pub(crate) fn run(tools: &Tools, image: &Image, steps: u32) -> Result<Transcript, ChipsError> {
    let mut command = Command::new("timeout");
    command.arg(LONGEST_RUN_S);
    match tools.target.machine {
        Machine::Host => {
            command.arg(&image.path).arg(steps.to_string());
        }
        Machine::Avr => {
            let decide = image.address("decide_node")?;
            command
                .args(&tools.harness)
                .arg(&image.path)
                .arg(format!("{decide:#x}"));
        }
        Machine::CortexM0 => {
            qemu(
                &mut command,
                "qemu-system-arm",
                &["-M", "microbit", "-icount", "shift=10"],
                image,
            );
        }
        Machine::CortexM3 => {
            qemu(
                &mut command,
                "qemu-system-arm",
                &["-M", "mps2-an385", "-icount", "shift=10"],
                image,
            );
        }
        Machine::Riscv32imc => {
            let board = ["-M", "virt", "-bios", "none", "-icount", "shift=0"];
            qemu(&mut command, "qemu-system-riscv32", &board, image);
        }
    }
    Transcript::parse(&call(&mut command)?.stdout)
}

/// Text that the firmware writes comes to standard output, and nothing else does.
fn qemu(command: &mut Command, program: &str, board: &[&str], image: &Image) {
    command
        .arg(program)
        .args(board)
        .args(["-display", "none", "-monitor", "none", "-serial", "none"])
        .args(["-chardev", "stdio,id=text"])
        .args(["-semihosting-config", "enable=on,target=native,chardev=text"])
        .arg("-kernel")
        .arg(&image.path);
}
