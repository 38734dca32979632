//! Lists on their way in. (The parser and the operations land next.)

/// How uploaded lists are parsed: by a child process of this program, or by one that the supervisor starts.
#[derive(Clone, Debug)]
pub enum ParserProgram {
    /// This program, started as a child.
    Child(std::path::PathBuf),
    /// The supervisor's socket.
    Socket(std::path::PathBuf),
}
