//! Stories of taking out drives: what is allowed, and what becomes of the incidents.
