// Command api is under construction: its rooms come first.
package main

func main() {}
