//! Repairs on invented starts. Test builds only.
