//! Starting and stopping, seen from outside: the program is run as a person runs it, and the machine is looked at.

mod cluster;
mod secrets;
mod supply;
mod support;
