// Package trail keeps the signed record of who approved what.
package trail
