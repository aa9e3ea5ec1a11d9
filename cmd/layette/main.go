// Command layette runs a studio's recipes over its models.
package main

func main() {}
