// Package sheet makes a model's inspection sheet.
package sheet
