//! The small program that stays root, when the server is started as root: it runs the cluster, the API and the parser of
//! uploaded files under three different users, passes the signal to stop on in the right order, and starts what ended by
//! itself again. It listens to nobody from outside and reads nothing that a user sent.

mod prepare;
mod root;

pub use root::run;
