// Package unit reads quantities with their units.
package unit
