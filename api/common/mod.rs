//! What every feature leans on and no feature owns: ids, time, pages, versions, safe retries, the log. Imports no feature.

pub mod ids;
