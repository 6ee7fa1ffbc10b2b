//! One rule kind a file; each a pure function from facts to findings.
