//! What the operating system accounts for: CPU and memory of processes, and how busy the machine was.

use std::collections::HashMap;

/// Microseconds in a clock tick of /proc: its unit is fixed at 100 a second on Linux for user space.
const TICK: u64 = 10_000;

/// One process as /proc tells it.
struct Process {
    parent: u32,
    /// User and system time of itself and of the children it has waited for, in ticks.
    ticks: u64,
}

fn processes() -> HashMap<u32, Process> {
    let entries = std::fs::read_dir("/proc").expect("/proc").flatten();
    entries
        .filter_map(|entry| {
            let id: u32 = entry.file_name().to_str()?.parse().ok()?;
            let text = std::fs::read_to_string(format!("/proc/{id}/stat")).ok()?;
            let rest: Vec<&str> = text.rsplit_once(") ")?.1.split(' ').collect();
            let number = |place: usize| rest.get(place).and_then(|text| text.parse::<u64>().ok()).unwrap_or(0);
            Some((id, Process { parent: number(1) as u32, ticks: number(11) + number(12) + number(13) + number(14) }))
        })
        .collect()
}

fn tree(all: &HashMap<u32, Process>, root: u32) -> Vec<u32> {
    let mut found = vec![root];
    let mut place = 0;
    while let Some(&parent) = found.get(place) {
        found.extend(all.iter().filter(|(_, process)| process.parent == parent).map(|(id, _)| *id));
        place += 1;
    }
    found
}

/// CPU that a process and all below it have used, in microseconds.
pub fn cpu_micros(root: u32) -> u64 {
    let all = processes();
    tree(&all, root).iter().filter_map(|id| all.get(id)).map(|process| process.ticks * TICK).sum()
}

/// Resident memory of a process and all below it, shared pages counted once where the system can tell, in KiB.
pub fn memory_kib(root: u32) -> u64 {
    let all = processes();
    tree(&all, root).iter().map(|id| one_memory(*id)).sum()
}

fn one_memory(id: u32) -> u64 {
    let value = |text: &str, name: &str| {
        let line = text.lines().find(|line| line.starts_with(name))?;
        line.split_whitespace().nth(1)?.parse().ok()
    };
    let rollup = std::fs::read_to_string(format!("/proc/{id}/smaps_rollup")).ok();
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).ok();
    rollup.and_then(|text| value(&text, "Pss:")).or_else(|| status.and_then(|text| value(&text, "VmRSS:"))).unwrap_or(0)
}

/// Busy and all time of the machine so far, in microseconds over all cores.
pub fn machine() -> (u64, u64) {
    let text = std::fs::read_to_string("/proc/stat").expect("/proc/stat");
    let line = text.lines().next().expect("a line");
    let ticks: Vec<u64> = line.split_whitespace().skip(1).take(8).filter_map(|text| text.parse().ok()).collect();
    let all: u64 = ticks.iter().sum();
    ((all - ticks[3] - ticks[4]) * TICK, all * TICK)
}

/// The load average of the last minute, and what the processor calls itself.
pub fn conditions() -> String {
    let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let info = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let model = info.lines().find_map(|line| line.strip_prefix("model name")).unwrap_or(": unknown processor");
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    let minute = load.split(' ').next().unwrap_or_default();
    format!(
        "{cores} cores of {}, load average {minute} at the start",
        model.trim_start_matches([' ', '\t', ':']).trim()
    )
}
