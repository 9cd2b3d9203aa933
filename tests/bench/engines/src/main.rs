fn main() { }
