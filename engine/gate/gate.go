// Package gate judges measures by a recipe's rules.
package gate
