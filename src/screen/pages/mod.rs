//! The pages: one file each, made from an open plan. Nothing here changes a plan or draws.
