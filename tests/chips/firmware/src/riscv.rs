//! The board of the 32-bit RISC-V target under QEMU: text and the end by semihosting, instructions by `minstret`, the stack by
//! paint. What tests/chips/c/board_arm.c is to Cortex-M.

use core::arch::{asm, global_asm};

/// Of decisions with fewer instructions each number is counted; of the rest, all of them and the longest.
const COUNTED: usize = 1_024;
/// Semihosting operations and the reason of a good end.
const WRITE_TEXT: usize = 0x04;
const EXIT: usize = 0x18;
const APPLICATION_EXIT: usize = 0x20026;

static mut CALLS: [u32; COUNTED] = [0; COUNTED];
static mut LONGER_CALLS: u32 = 0;
static mut LONGEST: u32 = 0;
static mut STARTED: u32 = 0;
static mut LAST: u32 = 0;
static mut EMPTY: u32 = 0;
static mut DEEPEST_BYTES: u32 = 0;

global_asm!(
    ".section .vectors, \"ax\"",
    ".globl reset",
    "reset:",
    "la sp, stack_top",
    "j riscv_main",
    // Semihosting is known by these three instructions, uncompressed.
    ".text",
    ".option push",
    ".option norvc",
    ".balign 16",
    "semihost:",
    "slli x0, x0, 0x1f",
    "ebreak",
    "srai x0, x0, 7",
    "ret",
    ".option pop",
    // Paints 128 words from the caller's stack pointer down; touches no stack itself.
    ".globl board_paint",
    "board_paint:",
    "li t0, 0xA5A5A5A5",
    "addi t1, sp, -512",
    "mv t2, sp",
    "1: addi t2, t2, -4",
    "sw t0, 0(t2)",
    "bne t2, t1, 1b",
    "ret",
    // Looks from the caller's stack pointer for the lowest word that is no longer paint.
    ".globl board_depth",
    "board_depth:",
    "li t0, 0xA5A5A5A5",
    "addi t1, sp, -512",
    "1: lw t2, 0(t1)",
    "bne t2, t0, 2f",
    "addi t1, t1, 4",
    "bne t1, sp, 1b",
    "2: sub a0, sp, t1",
    "j record_depth",
);

unsafe extern "C" {
    fn semihost(operation: usize, argument: *const u8) -> usize;
    fn chips_entry(steps: u32);
    /// Its address is the number of steps.
    static chips_steps: u8;
}

#[unsafe(no_mangle)]
extern "C" fn board_line(what: u8, first: u32, second: u32) {
    let mut line = *b"  ........ ........\n\0";
    line[0] = what;
    put_number(&mut line, 2, first);
    put_number(&mut line, 11, second);
    // OK because the text ends with a zero.
    unsafe { semihost(WRITE_TEXT, line.as_ptr()) };
}

fn put_number(line: &mut [u8; 21], from: usize, mut number: u32) {
    for place in line.iter_mut().skip(from).take(8) {
        let nibble = (number >> 28) as u8;
        number <<= 4;
        *place = if nibble < 10 {
            b'0' + nibble
        } else {
            b'a' - 10 + nibble
        };
    }
}

fn retired() -> u32 {
    let count: u32;
    unsafe { asm!("csrr {}, minstret", out(reg) count) };
    count
}

#[unsafe(no_mangle)]
extern "C" fn board_start() {
    unsafe { STARTED = retired() };
}

#[unsafe(no_mangle)]
extern "C" fn board_stop() {
    let stopped = retired();
    // OK because nothing else runs.
    unsafe {
        LAST = stopped.wrapping_sub(STARTED);
        let calls = &mut *(&raw mut CALLS);
        let instructions = LAST.wrapping_sub(EMPTY);
        if let Some(count) = calls.get_mut(instructions as usize) {
            *count += 1;
        } else {
            LONGER_CALLS += 1;
            LONGEST = LONGEST.max(instructions);
        }
    }
}

#[unsafe(no_mangle)]
extern "C" fn record_depth(depth_bytes: u32) {
    // OK because nothing else runs.
    unsafe { DEEPEST_BYTES = DEEPEST_BYTES.max(depth_bytes) };
}

#[unsafe(no_mangle)]
extern "C" fn riscv_main() -> ! {
    // OK because nothing else runs, and the linker gives both names.
    unsafe {
        // What a measurement of nothing shows, not to be counted.
        board_start();
        board_stop();
        EMPTY = LAST;
        CALLS = [0; COUNTED];
        LONGER_CALLS = 0;
        chips_entry((&raw const chips_steps).addr() as u32);
        let calls = &*(&raw const CALLS);
        for (instructions, count) in calls.iter().enumerate().filter(|(_, count)| **count != 0) {
            board_line(b'c', instructions as u32, *count);
        }
        if LONGER_CALLS != 0 {
            board_line(b'c', LONGEST, LONGER_CALLS);
        }
        board_line(b's', DEEPEST_BYTES, 0);
        loop {
            semihost(EXIT, APPLICATION_EXIT as *const u8);
        }
    }
}
